"""The demo build: a fictional school in a former print shop, loaded the way its owner would have made it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from importlib.resources import files
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac

from buildout.builds.web import services as builds
from buildout.builds.web.models import Build, JournalEntry, Member, Role
from buildout.changes.engine.chain import STEPS
from buildout.changes.engine.reading import read_build_file
from buildout.changes.web.stored import Helper, load_plain, plain_history
from buildout.people.web.models import SignInLink, User, token_digest
from estimating.engine.rfq import Site, asked_line, material_of
from estimating.engine.types import FloorSystem, Product, Supplier, TakeOff, WallSystem
from estimating.web import asking
from scheduling.web.models import ShareLink, SignUp

OWNER = ("orla.fennimarsh@example.org", "Orla Fennimarsh", Role.OWNER)
PARTNER = ("lucan.dapplewood@example.org", "Lucan Dapplewood", Role.PARTNER)
LEAD = ("ines.quillfeather@example.org", "Ines Quillfeather", Role.LEAD)
PEOPLE = (OWNER, PARTNER, LEAD)

HELPERS = {
    "bram-tallowfen": Helper("Bram Tallowfen", "bram.tallowfen@example.org"),
    "sika-morrowlight": Helper("Sika Morrowlight", "sika.morrowlight@example.org", "No car"),
    "neve-cobblestane": Helper("Neve Cobblestane", "neve.cobblestane@example.org", "Wheelchair user"),
    "idris-plumrose": Helper("Idris Plumrose", "idris.plumrose@example.org"),
    "fable-wintergill": Helper("Fable Wintergill", "fable.wintergill@example.org", "Allergic to nuts"),
    "osei-lanternby": Helper("Osei Lanternby", "osei.lanternby@example.org"),
    "juno-hartsedge": Helper("Juno Hartsedge", "juno.hartsedge@example.org", "No car"),
    "casimir-bluefell": Helper(
        "Casimir Bluefell", "casimir.bluefell@example.org", guardian="Marta Bluefell, 555 0142 844"
    ),
}
"""Names and contacts of the helpers whose sign-ups are in the demo file, by the start of the sign-up's id."""

LINK_DAYS = 365


def demo_file() -> bytes:
    return files("buildout.changes.engine").joinpath("data/demo.json").read_bytes()


def helper_of(sign_up_id: str) -> Helper:
    return next((helper for start, helper in HELPERS.items() if sign_up_id.startswith(start)), Helper(sign_up_id))


def demo_builds() -> list[Build]:
    """Every build the demo's owner has: the demo itself, and what somebody made while trying it out."""
    return list(Build.objects.filter(members__user__email=OWNER[0], members__role=Role.OWNER).order_by("pk"))


def find_demo() -> Build | None:
    return next(iter(demo_builds()), None)


@transaction.atomic
def remove_demo() -> None:
    """Delete the demo's people and their builds; whatever other accounts have stays."""
    for build in demo_builds():
        build.delete()
    User.objects.filter(email__in=[email for email, _, _ in PEOPLE]).delete()


@transaction.atomic
def load_demo(say: Callable[[str], object]) -> Build:
    """Make the demo build with its two revisions, orders and sign-ups: all of it, or on any failure nothing."""
    users = {}
    for email, name, role in PEOPLE:
        users[role] = User.objects.filter(email=email).first() or User.objects.create_user(email, name)
    owner = users[Role.OWNER]
    file = read_build_file(demo_file())
    history = plain_history(demo_file(), "Wall D–E measured again: reading 4 had slipped by a foot")
    build = Build.objects.create(name=file.plan.name)
    for role, user in users.items():
        Member.objects.create(build=build, user=user, role=role)
    for role in (Role.PARTNER, Role.LEAD):
        builds.note(build, "people", f"{users[role].name} was invited as {Role(role).label.lower()}", by=owner)
    ShareLink.objects.create(build=build)

    def between() -> None:
        # The partner looked in after the first revision, so the second one is news.
        Member.objects.filter(build=build, user=users[Role.PARTNER]).update(last_visit=timezone.now())

    def on_revision(number: int, summary: str) -> None:
        say(f"Revision {number}: {summary}")

    def on_step(number: int, name: str) -> None:
        say(f"  {number + 1:2} of {len(STEPS)}  {name}")

    load_plain(
        build, file, history, by=owner, helper_of=helper_of, between=between, on_revision=on_revision, on_step=on_step
    )
    _comment(build, users)
    build.refresh_from_db()
    _ask_around(build, owner)
    return build


def _comment(build: Build, users: dict[Any, User]) -> None:
    from buildout.builds.web.models import Comment

    text = "Is the contingency enough for the electrician's part as well?"
    Comment.objects.create(
        build=build, subject="budget:5", subject_text="Licensed trades", text=text, by=users[Role.PARTNER]
    )
    JournalEntry.objects.create(
        build=build, kind="comment", by=users[Role.PARTNER], by_name=users[Role.PARTNER].name,
        text="Lucan Dapplewood commented on Licensed trades",
    )  # fmt: skip


ASKED = ("joint-tape", "barrier")
"""What nobody quotes yet and the request asks for; of the first a sample."""
ASKED_OF = ("cloudberry", "sedgewhistle")


def _ask_around(build: Build, owner: User) -> None:
    """Where the owner stands with suppliers: a request out to two, a call with its next step, a sample on its way."""
    sheet = builds.sheet_of(build)
    today = sheet.today()
    products = {product.id: product for product in sheet.section("products", list[Product])}
    floors, walls = sheet.section("floor_systems", list[FloorSystem]), sheet.section("wall_systems", list[WallSystem])
    suppliers = {supplier.id: supplier for supplier in sheet.section("suppliers", list[Supplier])}
    needed = {line.item: line for line in sheet.part("take_off", TakeOff).lines}
    lines = [
        asked_line(
            needed[item], products[item], material_of(products[item], floors, walls), sheet.units, None, "",
            sample=item == ASKED[0],
        )
        for item in ASKED
    ]  # fmt: skip
    site = Site(
        place=sheet.document.get("place", ""), contact=owner.name, door="Roller door, 10 ft wide, sill level",
        unloading="lift-gate", window="Weekdays 9 to 4",
    )  # fmt: skip
    asking.ask(build, owner, lines, [suppliers[name] for name in ASKED_OF], site, today + timedelta(days=10), [])
    asking.note_call(
        build, owner, suppliers["ninefold"],
        {
            "spoke_with": suppliers["ninefold"].contact, "due": today + timedelta(days=7 - (today.weekday() - 1) % 7),
            "said": "The fire document for the fabric is with their test house. Will call back on Tuesday.",
            "next_step": "Ring if the fire document is not here: the authority sees it before we order",
        },
    )  # fmt: skip


def sign_in_token(email: str) -> str:
    """The demo's sign-in link of one person, the same each time: running the demo again changes nothing."""
    user = User.objects.get(email=email)
    token = salted_hmac("buildout.demo.sign-in", email, algorithm="sha256").hexdigest()[:32]
    until = timezone.now() + timedelta(days=LINK_DAYS)
    link, made = SignInLink.objects.get_or_create(
        digest=token_digest(token), defaults={"user": user, "expires": until, "once": False}
    )
    if not made and link.expires < timezone.now():
        SignInLink.objects.filter(pk=link.pk).update(expires=until)
    return token


def helper_sign_up(build: Build) -> SignUp | None:
    """The sign-up whose personal link the demo prints."""
    return SignUp.objects.standing().filter(build=build, name=HELPERS["bram-tallowfen"].name).order_by("pk").last()
