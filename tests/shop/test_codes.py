"""QR codes, printed on a label and read back by an independent decoder (zxing-cpp)."""

import subprocess
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image, ImageOps

from shop.codes import LONGEST, qr_data_uri, qr_terminal
from tests.tools import pdf_libraries

ADDRESS = "http://192.168.178.120:8000/t/2407-0031-Y/"


def decoded(image: Image.Image) -> list[str]:
    return [code.text for code in zxingcpp.read_barcodes(image)]


def printed(folder: Path, address: str, side: int, dpi: int) -> Image.Image:
    """Return a label with a code, in black and white dots as a thermal printer burns it. Side in mm."""
    pdf_libraries()
    from weasyprint import HTML

    style = f"@page {{ size: 62mm 29mm; margin: 3mm }} img {{ width: {side}mm; height: {side}mm }}"
    HTML(string=f'<style>{style}</style><img src="{qr_data_uri(address)}" alt="code">').write_pdf(
        folder / "label.pdf"
    )
    subprocess.run(["pdftoppm", "-r", str(dpi), "-mono", folder / "label.pdf", folder / "label"], check=True)
    (dots,) = folder.glob("label*.pbm")
    return Image.open(dots).convert("L")


# 203 dpi is what most label printers do; 18 mm is the least a paper gives (common practice, no source)
@pytest.mark.parametrize("address", [ADDRESS, "https://bench.lantern-quay.example:8443/t/2407-0031-Y/"])
@pytest.mark.parametrize(("side", "dpi"), [(18, 180), (18, 203), (18, 300), (22, 203)])
def test_a_code_on_a_label_is_read_at_the_printers_resolution(address, side, dpi, tmp_path):
    assert decoded(printed(tmp_path, address, side, dpi)) == [address]


def test_a_torn_corner_does_not_matter(tmp_path):
    """ISO/IEC 18004: level M restores about 15 % of the code words."""
    image = printed(tmp_path, ADDRESS, 18, 600)
    left, top, right, bottom = ImageOps.invert(image).getbbox()
    image.paste(255, (right - (right - left) // 6, bottom - (bottom - top) // 6, right, bottom))
    assert decoded(image) == [ADDRESS]


def test_a_code_in_the_terminal_reads_back():
    """Each character is two modules, one above the other."""
    rows = qr_terminal(ADDRESS).splitlines()
    rows = [row for row in rows if row.strip("\x1b[0m ")]
    drawing = Image.new("L", (max(map(len, rows)), 2 * len(rows)), 255)
    halves = {"█": (0, 0), "▀": (0, 255), "▄": (255, 0), " ": (255, 255)}
    for y, row in enumerate(rows):
        for x, character in enumerate(row):
            for half in (0, 1):
                drawing.putpixel((x, 2 * y + half), halves[character][half])
    large = drawing.resize((drawing.width * 6, drawing.height * 6), Image.Resampling.NEAREST)
    padded = Image.new("L", (large.width + 80, large.height + 80), 255)
    padded.paste(large, (40, 40))
    # light on dark or dark on light, as the terminal's colours are
    assert zxingcpp.read_barcodes(padded, try_invert=True)[0].text == ADDRESS


@pytest.mark.parametrize("text", ["", "x" * (LONGEST + 1)])
def test_what_makes_no_readable_code_is_refused(text):
    with pytest.raises(ValueError, match="characters"):
        qr_data_uri(text)
    with pytest.raises(ValueError, match="characters"):
        qr_terminal(text)
