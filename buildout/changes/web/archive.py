"""The whole database in one file and back: JSON lines in a ZIP, whatever database they came from.

``manifest.json`` names the format, the migrations the tables stand at, and for each table the number of
rows and the SHA-256 of its lines. Nothing is restored unless every line agrees with it, and nothing stays
restored unless the database, read back, gives the same lines again.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

import msgspec
from django.apps import apps
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from buildout.builds.web.models import Build
from buildout.changes.web.rows import line, plain, value_of
from buildout.people.web.models import User

FORMAT: Literal["buildout backup"] = "buildout backup"
VERSION: Literal[1] = 1
MANIFEST = "manifest.json"
LARGEST_MANIFEST = 1_000_000


class ArchiveError(Exception):
    """Why a backup cannot be made or restored, and what to do."""


class Table(msgspec.Struct, forbid_unknown_fields=True):
    rows: int
    sha256: str


class Manifest(msgspec.Struct, forbid_unknown_fields=True):
    format: Literal["buildout backup"]
    version: Literal[1]
    made: str
    migrations: list[str]
    tables: dict[str, Table]


def tables() -> list[type[models.Model]]:
    """Every table there is, those behind many-to-many fields as well, by name."""
    found = [m for m in apps.get_models(include_auto_created=True) if m._meta.managed and not m._meta.proxy]
    return sorted(found, key=lambda model: model._meta.label)


def lines(model: type[models.Model]) -> Iterator[bytes]:
    """Every row of a table as a line of JSON, in the order of its key."""
    columns = [field.attname for field in model._meta.concrete_fields]
    for row in model._base_manager.order_by("pk").iterator(chunk_size=200):
        yield line({name: plain(getattr(row, name)) for name in columns})


def migrations() -> list[str]:
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def count_and_digest(model: type[models.Model]) -> Table:
    digest, rows = hashlib.sha256(), 0
    for text in lines(model):
        digest.update(text)
        rows += 1
    return Table(rows=rows, sha256=digest.hexdigest())


# ---------------------------------------------------------------- backup


def backup(path: Path) -> Manifest:
    """Write the database as it stands at one moment. ``path`` is only touched once the file is complete."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.touch(mode=0o600)
        with transaction.atomic():
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            manifest = _write(part)
        part.replace(path)
    except OSError as error:
        raise ArchiveError(f"{path} cannot be written ({error.strerror}).") from error
    finally:
        part.unlink(missing_ok=True)
    return manifest


def _write(path: Path) -> Manifest:
    found: dict[str, Table] = {}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for model in tables():
            digest, rows = hashlib.sha256(), 0
            with file.open(_member(model._meta.label), "w", force_zip64=True) as out:
                for text in lines(model):
                    out.write(text)
                    digest.update(text)
                    rows += 1
            found[model._meta.label] = Table(rows=rows, sha256=digest.hexdigest())
        manifest = Manifest(
            format=FORMAT, version=VERSION, made=timezone.now().isoformat(timespec="seconds"),
            migrations=migrations(), tables=found,
        )  # fmt: skip
        file.writestr(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
    return manifest


def _member(label: str) -> str:
    return f"tables/{label}.jsonl"


# ---------------------------------------------------------------- restore


def holds_work() -> bool:
    """Whether anybody's work would be lost by restoring over this database."""
    return User.objects.exists() or Build.objects.exists()


def restore(path: Path, *, replace: bool = False) -> Manifest:
    """Put a backup in place of everything in the database, or raise ``ArchiveError`` and leave it untouched."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ArchiveError(f"{path} cannot be read ({error.strerror}).") from error
    try:
        with zipfile.ZipFile(BytesIO(data)) as file:
            manifest = _checked(file, path)
            if holds_work() and not replace:
                raise ArchiveError(
                    "The database is not empty. Back it up first if it matters, then add --replace to put the backup "
                    "in its place."
                )
            _load(file, manifest)
    except zipfile.BadZipFile as error:
        raise ArchiveError(
            f"{path} is not a backup, or was cut short ({error}). Copy it again; nothing was changed."
        ) from error
    except (zlib.error, EOFError) as error:
        raise ArchiveError(f"{path} is damaged ({error}). Copy it again; nothing was changed.") from error
    return manifest


def _checked(file: zipfile.ZipFile, path: Path) -> Manifest:
    """The manifest, once every line of every table is known to agree with it."""
    try:
        if file.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
            raise ArchiveError(f"{path} is not a backup made by this program: its manifest is too large.")
        manifest = msgspec.json.decode(file.read(MANIFEST), type=Manifest)
    except KeyError as error:
        raise ArchiveError(f"{path} is a ZIP file, but not a backup: it holds no {MANIFEST}.") from error
    except msgspec.DecodeError as error:
        raise ArchiveError(f"{path} is not a backup this version can read: {error}.") from error
    here, there = set(migrations()), set(manifest.migrations)
    if there - here:
        raise ArchiveError(
            f"{path} was made by a newer version (it stands at {max(there - here)}). Update the program, then restore."
        )
    if here - there:
        raise ArchiveError(
            f"{path} was made by an older version (it lacks {max(here - there)}). Restore it with the version that "
            "made it, then update: the update brings the tables up to date."
        )
    known = {model._meta.label for model in tables()}
    if set(manifest.tables) != known:
        odd = ", ".join(sorted(set(manifest.tables) ^ known))
        raise ArchiveError(f"{path} does not hold the tables of this program: {odd}.")
    for label, table in manifest.tables.items():
        digest, rows = hashlib.sha256(), 0
        try:
            with file.open(_member(label)) as member:
                for text in member:
                    digest.update(text)
                    rows += 1
        except KeyError as error:
            raise ArchiveError(f"{path} is damaged: table {label} is missing. Nothing was changed.") from error
        if rows != table.rows or digest.hexdigest() != table.sha256:
            raise ArchiveError(
                f"{path} is damaged: table {label} does not agree with its checksum. Copy it again; "
                "nothing was changed."
            )
    return manifest


def _load(file: zipfile.ZipFile, manifest: Manifest) -> None:
    by_label = {model._meta.label: model for model in tables()}
    try:
        with transaction.atomic():
            # Foreign keys are only checked when the transaction ends, so the order of tables does not matter.
            for model in by_label.values():
                model._base_manager.all()._raw_delete(using=connection.alias)
            for label in manifest.tables:
                _load_table(by_label[label], file)
            _restart_numbers(list(by_label.values()))
            for label, table in manifest.tables.items():
                if count_and_digest(by_label[label]) != table:
                    raise ArchiveError(f"Table {label} did not come back as it was saved; nothing was changed.")
    except DatabaseError as error:
        raise ArchiveError(
            f"The database refused the backup ({' '.join(str(error).split())}); nothing was changed."
        ) from error


def _load_table(model: type[models.Model], file: zipfile.ZipFile) -> None:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    with file.open(_member(model._meta.label)) as member:
        for text in member:
            row: dict[str, Any] = json.loads(text)
            try:
                values = {name: value_of(fields[name], raw) for name, raw in row.items()}
            except (KeyError, ValidationError) as error:
                raise ArchiveError(
                    f"A row of {model._meta.label} does not fit its table ({error}); nothing was changed."
                ) from error
            # raw: stored as given, without the defaults a column would fill in by itself
            model(**values).save_base(raw=True, force_insert=True)


def _restart_numbers(loaded: list[type[models.Model]]) -> None:
    statements = connection.ops.sequence_reset_sql(no_style(), loaded)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
