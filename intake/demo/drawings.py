"""Signatures and pictures for the demo, drawn: nobody's hand and nobody's gear is in it."""

import io
import json
import math
from random import Random

from PIL import Image, ImageDraw, ImageFont

from shop.pictures import strokes_to_svg


def ink(name: str) -> str:
    """A signature that belongs to a name: loops of a pen, the same every time."""
    dice = Random(name)
    x, points = 20.0, []
    for letter in name[:14]:
        tall = 46 if letter.isupper() else dice.uniform(10, 24)
        wide = dice.uniform(12, 19)
        for step in range(6):
            turn = step / 5 * 2 * math.pi
            points.append(
                {
                    "x": round(x + wide * step / 5 + 3 * math.sin(turn), 1),
                    "y": round(80 - tall * (1 - math.cos(turn)) / 2, 1),
                }
            )
        x += wide
    return strokes_to_svg(json.dumps([points]), 320, 120)


def picture(claim: str, number: int) -> bytes:
    """A picture of a chassis with its tag, drawn: no real gear is in the demo."""
    dice = Random(f"{claim}{number}")
    image = Image.new("RGB", (1200, 900), (58, 56, 52))
    draw = ImageDraw.Draw(image)
    font, small = ImageFont.load_default(54), ImageFont.load_default(30)
    draw.rounded_rectangle((60, 120, 1140, 820), 18, fill=(150, 150, 146), outline=(90, 90, 88), width=6)
    draw.rectangle((110, 430, 1090, 640), fill=(122, 92, 56), outline=(70, 50, 30), width=4)
    for place in range(4):
        x = 190 + place * 150
        draw.ellipse((x - 52, 190, x + 52, 294), fill=(212, 216, 216), outline=(60, 60, 60), width=5)
        draw.ellipse((x - 20, 222, x + 20, 262), fill=(226, 140, 60) if number == 0 else (90, 80, 74))
        draw.text((x - 22, 310), f"V{place + 1}", font=small, fill=(30, 30, 30))
    for place in range(9):
        x, y = 160 + place * 104, 455 + dice.randint(0, 20)
        colour = dice.choice([(196, 150, 60), (60, 90, 130), (170, 60, 50), (214, 206, 180)])
        draw.rounded_rectangle((x, y, x + 44, y + 140), 16, fill=colour, outline=(40, 30, 20), width=3)
        draw.line((x + 22, y - 24, x + 22, y), fill=(190, 190, 190), width=4)
    for place in range(2):
        x = 840 + place * 130
        draw.rounded_rectangle((x, 180, x + 104, 380), 14, fill=(70, 84, 120), outline=(30, 34, 50), width=5)
        draw.text((x + 24, 260), f"C{place + 1}", font=small, fill=(240, 240, 240))
    if number:
        x = 160 + dice.randint(0, 8) * 104
        draw.ellipse((x - 40, 425, x + 84, 650), outline=(220, 40, 30), width=10)
    draw.polygon(
        ((130, 690), (170, 670), (640, 670), (640, 790), (170, 790), (130, 770)), fill=(241, 214, 146)
    )
    draw.ellipse((150, 715, 182, 747), fill=(150, 150, 146))
    draw.text((210, 700), claim, font=font, fill=(34, 26, 8))
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    return buffer.getvalue()
