"""QR codes, for papers and for the terminal."""

import io

import segno

LONGEST = 300  # an address of ours has about 40 characters; more makes modules too small for a label printer


def qr_data_uri(text: str) -> str:
    """Return a QR code as an SVG data URI for an `<img>`: error correction M or above, with its quiet zone.

    A drawing and not a PNG: its edges fall on a label printer's dots, where a picture's are greyed and then
    dithered. At 18 mm and 203 dpi the printed drawing reads and the picture does not (tests/shop/test_codes).
    In an `<img>` it can run nothing and its `alt` gets into the PDF.
    Raises `ValueError` for an empty text or one beyond `LONGEST` characters.
    """
    return _code(text).svg_data_uri(border=4, light="#fff", omitsize=True, svgclass=None, lineclass=None)


def qr_terminal(text: str) -> str:
    """Return a QR code in block characters, two rows of modules to a line, for a terminal.

    Raises `ValueError` as `qr_data_uri` does.
    """
    drawing = io.StringIO()
    _code(text).terminal(drawing, border=4, compact=True)
    return drawing.getvalue()


def _code(text: str) -> segno.QRCode:
    if not 0 < len(text) <= LONGEST:
        raise ValueError(f"A QR code here holds 1 to {LONGEST} characters, not {len(text)}.")
    return segno.make(text, error="m", micro=False)
