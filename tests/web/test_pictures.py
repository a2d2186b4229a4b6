"""Pictures people send: cut off, of another kind, too large; also after another library has loosened the decoder."""

from __future__ import annotations

from io import BytesIO

import pytest
from PIL import Image, ImageFile

from buildout.builds.web import pictures
from buildout.builds.web.pictures import KINDS, PictureError, is_whole, read_picture, small_jpeg
from buildout.rooms.web.photos import PhotoError, read_photo
from estimating.web.papers import PaperError, read_paper
from scheduling.web.marks import MarkError, shrink


def picture(kind: str, *, preview: bool = False, **more: object) -> bytes:
    """Colours that hardly compress, so that half of the file is half of the picture. ``preview``: a small one inside
    it, as cameras put there."""
    image = Image.effect_noise((160, 120), 90).convert("RGB")
    exif = Image.Exif()
    if preview:
        inner = BytesIO()
        image.resize((40, 30)).save(inner, "JPEG")
        exif[0x010E] = inner.getvalue().decode("latin-1").encode("latin-1")
    out = BytesIO()
    image.save(out, kind, exif=exif, **more)
    return out.getvalue()


@pytest.fixture
def loosened(monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a PDF: the whole process puts up with files that are cut off."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_cut_off_wherever_it_is_sent(kind: str, share: float, loosened: None) -> None:
    data = picture(kind)
    cut = data[: int(len(data) * share)]
    assert read_picture(data).size == (160, 120)
    with pytest.raises(PictureError, match="broken or cut off"):
        read_picture(cut)
    with pytest.raises(PhotoError, match="broken or cut off"):
        read_photo(BytesIO(cut), len(cut))
    with pytest.raises(MarkError, match="broken or cut off"):
        shrink(cut)
    if kind != "WEBP":
        with pytest.raises(PaperError, match="broken or cut off"):
            read_paper(BytesIO(cut), len(cut))
    assert ImageFile.LOAD_TRUNCATED_IMAGES  # what the other library wants is as it was


def test_after_a_pdf_was_written() -> None:
    weasyprint = pytest.importorskip("weasyprint", exc_type=OSError)
    weasyprint.HTML(string="<p>One page</p>").write_pdf()
    data = picture("JPEG")
    with pytest.raises(PictureError, match="broken or cut off"):
        read_picture(data[:-200])
    # Cut off, with an end mark put behind it: only decoding shows it.
    with pytest.raises(PictureError, match="broken or cut off"):
        read_picture(picture("PNG")[:2000] + b"\0\0\0\0IEND\xaeB`\x82")


def test_the_end_of_a_small_picture_inside_does_not_count() -> None:
    data = picture("JPEG", preview=True)
    inner = data.find(b"\xff\xd9")
    assert 0 < inner < len(data) // 2
    assert is_whole(data)
    assert not is_whole(data[: inner + 50])
    assert is_whole(data + b"\0" * 9000)  # a film that a telephone hangs on behind


@pytest.mark.parametrize(
    "data", [b"", b"\xff", b"\xff\xd8", b"\xff\xd8\xff\xff\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"GIF89a"]
)
def test_scraps(data: bytes) -> None:
    assert not is_whole(data)
    with pytest.raises(PictureError):
        read_picture(data)


def test_kind_and_size_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PictureError, match="Choose a JPEG, PNG or WebP file") as wrong:
        read_picture(b"MZ no picture")
    assert wrong.value.code == "kind"
    monkeypatch.setattr(pictures, "MOST_PIXELS", 19_199)
    with pytest.raises(PictureError, match="million pixels") as wrong:
        read_picture(picture("JPEG"))
    assert wrong.value.code == "pixels"


def test_made_small_upright_and_bare() -> None:
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "A telephone"
    out = BytesIO()
    Image.new("RGB", (300, 200), "brown").save(out, "JPEG", exif=exif)
    with Image.open(BytesIO(small_jpeg(read_picture(out.getvalue()), 150, 80))) as small:
        assert small.size == (100, 150)
        assert not small.getexif()
