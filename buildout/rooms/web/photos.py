"""Photos of readings: checked, turned upright, stripped of where and with what they were taken, kept with the build
under a name that follows from what they show, and given to its members alone."""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterable
from typing import IO, Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from buildout.builds.web import services as builds
from buildout.builds.web.editing import person
from buildout.rooms.web.models import ReadingPhoto

LARGEST_FILE = 15_000_000
MOST_PIXELS = 60_000_000
FORMATS = ("JPEG", "PNG", "WEBP")
LONG_SIDE, SMALL_SIDE = 1600, 320


class PhotoError(ValueError):
    """Why a file cannot be kept as a photo, and what would be right."""


def read_photo(file: IO[bytes], size: int) -> bytes:
    """A photo as it will be kept: JPEG, upright, at most 1,600 pixels long. Raises ``PhotoError``."""
    from PIL import Image, ImageOps

    if size > LARGEST_FILE:
        raise PhotoError("The photo is larger than 15 MB. Take it with a smaller size, or send a screenshot of it.")
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            with Image.open(file, formats=FORMATS) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise PhotoError("The photo has more than 60 million pixels. Send a smaller one.")
                upright = ImageOps.exif_transpose(image).convert("RGB")
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise PhotoError("The photo has more than 60 million pixels. Send a smaller one.") from error
        except (OSError, ValueError, SyntaxError) as error:
            if isinstance(error, PhotoError):
                raise
            raise PhotoError("This is not a photo that can be read. Choose a JPEG, PNG or WebP file.") from error
    upright.thumbnail((LONG_SIDE, LONG_SIDE))
    return _jpeg(upright)


def _jpeg(image: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=82)
    return out.getvalue()


def keep_photo(build_id: int, data: bytes) -> str:
    """Keep what ``read_photo`` made; returns the name readings know it by."""
    from PIL import Image

    name = f"{hashlib.sha256(data).hexdigest()[:24]}.jpg"
    with Image.open(io.BytesIO(data)) as image:
        image.thumbnail((SMALL_SIDE, SMALL_SIDE))
        small = _jpeg(image)
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
