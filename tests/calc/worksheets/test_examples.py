"""Every worksheet answers what somebody might type into it, with its pictures."""

import pytest

from calc.worksheets import all_sheets
from calc.worksheets.chart import draw
from calc.worksheets.sheet import Worksheet, answer
from tests.calc.examples import example


@pytest.mark.parametrize("sheet", all_sheets(), ids=lambda sheet: sheet.slug)
def test_a_worksheet_answers_its_example(sheet: Worksheet) -> None:
    found, said = answer(sheet, example(sheet.slug))
    assert said is not None, (found.wrong, found.missing)
    assert said.said.endswith((".", ")"))
    for chart in said.charts:
        assert draw(chart).curves or draw(chart).dots
