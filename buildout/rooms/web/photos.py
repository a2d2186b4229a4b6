"""Photos of readings: checked, turned upright, stripped of where and with what they were taken, kept with the build
under a name that follows from what they show, and given to its members alone."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable
from typing import IO

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person
from buildout.builds.web.pictures import PictureError, read_picture, small_jpeg
from buildout.rooms.web.models import ReadingPhoto

LARGEST_FILE = 15_000_000
LONG_SIDE, SMALL_SIDE, QUALITY = 1600, 320, 82


class PhotoError(ValueError):
    """Why a file cannot be kept as a photo, and what would be right."""


def read_photo(file: IO[bytes], size: int) -> bytes:
    """A photo as it will be kept: JPEG, upright, at most 1,600 pixels long. Raises ``PhotoError``."""
    if size > LARGEST_FILE:
        raise PhotoError("The photo is larger than 15 MB. Take it with a smaller size, or send a screenshot of it.")
    try:
        return small_jpeg(read_picture(file.read()), LONG_SIDE, QUALITY)
    except PictureError as error:
        raise PhotoError(str(error)) from error


def keep_photo(build_id: int, data: bytes) -> str:
    """Keep what ``read_photo`` made; returns the name readings know it by."""
    from PIL import Image

    name = f"{hashlib.sha256(data).hexdigest()[:24]}.jpg"
    with Image.open(io.BytesIO(data)) as image:
        small = small_jpeg(image, SMALL_SIDE, QUALITY)
    ReadingPhoto.objects.get_or_create(build_id=build_id, name=name, defaults={"jpeg": data, "small": small})
    return name


def photos_of(build_id: int) -> set[str]:
    """Names of the photos a build keeps."""
    return set(ReadingPhoto.objects.filter(build_id=build_id).values_list("name", flat=True))


def copy_photos(names: Iterable[str], source: int, target: int) -> set[str]:
    """Bring photos along into another build; returns those that were there."""
    found = ReadingPhoto.objects.filter(build_id=source, name__in=set(names))
    return {keep_photo(target, bytes(photo.jpeg)) for photo in found}


@login_required
@require_GET
def photo(request: HttpRequest, build_id: int, name: str) -> HttpResponse:
    """A photo for any member of the build; ``?small`` for one that fits into a table."""
    build, _ = builds.build_for(person(request), build_id)
    field = "small" if "small" in request.GET else "jpeg"
    data = get_object_or_404(ReadingPhoto.objects.filter(build=build).values_list(field, flat=True), name=name)
    return HttpResponse(
        bytes(data), content_type="image/jpeg",
        headers={"Cache-Control": "private, max-age=31536000, immutable", "X-Content-Type-Options": "nosniff"},
    )  # fmt: skip
