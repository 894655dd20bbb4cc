"""What a hand does on a tablet: pages are used as a person finds them, by the words on buttons and beside boxes.

What is printed is read out of the PDF itself, with pypdf.
"""

import io
import re

from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from tests import tools


def tap(where: Page | Locator, words: str) -> None:
    """Tap the button or link that says so."""
    button = where.get_by_role("button", name=re.compile(words))
    button.or_(where.get_by_role("link", name=re.compile(words))).first.tap()


def choose(where: Page | Locator, *words: str) -> None:
    """Tap the cards with these words."""
    for word in words:
        where.locator("label.choice").filter(has_text=word).first.tap()


def write(where: Page | Locator, label: str, text: str) -> None:
    where.get_by_label(re.compile(f"^{label}")).locator("visible=true").first.fill(text)


def name_the_meter(readings: Locator, name: str) -> None:
    """Say which meter a reading was taken with, where it isn't one of the shop's."""
    readings.get_by_label(re.compile("^Meter")).select_option("another")
    write(readings, "Name of another meter", name)


def sign(page: Page) -> None:
    """Draw a zigzag on the glass."""
    glass = page.locator("[data-signature=on] canvas")
    glass.scroll_into_view_if_needed()
    box = glass.bounding_box()
    page.mouse.move(box["x"] + 40, box["y"] + 60)
    page.mouse.down()
    for n in range(1, 14):
        page.mouse.move(box["x"] + 40 + 20 * n, box["y"] + 60 + 40 * (n % 2))
    page.mouse.up()
    expect(page.locator("[data-signature-said]")).to_have_text("Signed.")


def scan(page: Page, address: str) -> None:
    """A hand scanner: a keyboard that types faster than anybody, and ends with Enter."""
    page.keyboard.type(address, delay=5)
    page.keyboard.press("Enter")


def section(page: Page, name: str) -> Locator:
    return page.get_by_role("region", name=re.compile(f"^{name}"))


def unfold(where: Locator, words: str) -> None:
    where.locator("summary").filter(has_text=words).tap()


# What a form would send if this button sent it; files stay behind.
_TO_BE_SENT = """button => {
    const sent = new URLSearchParams();
    for (const [name, value] of new FormData(button.form)) if (typeof value === "string") sent.append(name, value);
    const address = button.getAttribute("formaction") || button.form.getAttribute("action");
    return [button.form.method, address, sent.toString()];
}"""


def printed(page: Page, words: str) -> str:
    """Press a button or link that opens a paper; return the text of its PDF. A browser without a screen shows none."""
    tools.pdf_libraries()
    link, button = (page.get_by_role(role, name=words, exact=True) for role in ("link", "button"))
    link.or_(button).first.wait_for()
    if link.count():
        answer = page.request.get(link.first.get_attribute("href"))
    else:
        method, address, sent = button.first.evaluate(_TO_BE_SENT)
        headers = {"Referer": page.url, "Content-Type": "application/x-www-form-urlencoded"}
        if method == "get":
            answer = page.request.get(f"{address}?{sent}")
        else:
            answer = page.request.post(address, data=sent, headers=headers)
    assert answer.ok, answer.status
    assert answer.headers["content-type"] == "application/pdf"
    return " ".join(
        " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(answer.body())).pages).split()
    )
