"""Pictures people send, opened in one place: whole, of a kind that is wanted, and not too large to unfold in memory.

Another library may tell the picture library to put up with files that are cut off (the one that writes PDFs does), and
that holds for the whole process. So a file's own end is looked for first, and it is decoded with that turned off.
"""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from PIL.Image import Image

KINDS = ("JPEG", "PNG", "WEBP")
MOST_PIXELS = 60_000_000
_strictly = threading.Lock()


class PictureError(ValueError):
    """Why a file cannot be taken as a picture, and what would be right."""

    def __init__(self, code: Literal["kind", "pixels", "broken"], text: str) -> None:
        super().__init__(text)
        self.code = code


def read_picture(data: bytes, kinds: Sequence[str] = KINDS) -> Image:
    """The picture, decoded to its last row. Raises ``PictureError``."""
    from PIL import Image, ImageFile, UnidentifiedImageError

    broken = PictureError("broken", "The picture is broken or cut off. Send it again.")
    with _strictly, warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        before, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, False
        try:
            image: Image.Image = Image.open(io.BytesIO(data), formats=list(kinds))
            if image.width * image.height > MOST_PIXELS:
                raise Image.DecompressionBombError
            if not is_whole(data):
                raise broken
            image.load()
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            said = f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels. Send a smaller one."
            raise PictureError("pixels", said) from error
        except PictureError:
            raise
        except UnidentifiedImageError as error:
            if data.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF")):
                raise broken from error  # cut off within its first bytes
            named = ", ".join(kinds[:-1]) + " or " * (len(kinds) > 1) + kinds[-1].replace("WEBP", "WebP")
            raise PictureError("kind", f"This is not a picture that can be read. Choose a {named} file.") from error
        except Exception as error:  # a broken picture may fail in any way
            raise broken from error
        finally:
            ImageFile.LOAD_TRUNCATED_IMAGES = before
    return image


def small_jpeg(image: Image, side: int, quality: int) -> bytes:
    """Upright, at most ``side`` pixels long, with nothing in it about where and by what it was taken."""
    from PIL import ImageOps

    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((side, side))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


def is_whole(data: bytes) -> bool:
    """Whether the file reaches its own end mark (JPEG: ITU-T T.81 annex B, PNG: its last chunk, WebP: RIFF's length).

    What a telephone hangs on behind the end does no harm.

    >>> is_whole(b"\\xff\\xd8\\xff\\xda\\x00\\x02\\x17\\xff\\xd9"), is_whole(b"\\xff\\xd8\\xff\\xda\\x00\\x02\\x17")
    (True, False)
    """
    if data.startswith(b"\xff\xd8"):
        at = 2
        # Segments say how long they are; a small picture inside one has an end mark of its own, which does not count.
        while data[at : at + 1] == b"\xff" and data[at + 1 : at + 2] != b"\xda":
            length = int.from_bytes(data[at + 2 : at + 4], "big")
            at += 1 if data[at + 1 : at + 2] == b"\xff" else 2 + max(length, 2)
        return data.find(b"\xff\xd9", at) > 0
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        at = 8
        while at + 12 <= len(data):
            if data[at + 4 : at + 8] == b"IEND":
                return True
            at += 12 + int.from_bytes(data[at : at + 4], "big")
        return False
    if data.startswith(b"RIFF"):
        return int.from_bytes(data[4:8], "little") + 8 <= len(data)
    return False
