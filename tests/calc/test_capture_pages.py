"""Sending a recording, alone and from a job; the tone and the sweep to play."""

import io
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from scipy.io import wavfile

from calc.engine import capture
from calc.models import KeptSheet
from shop.models import Staff
from tests.conftest import Tablet
from tests.factories import JobFactory
from tests.safe import passed

pytestmark = pytest.mark.django_db

TONE = capture.tone(1000, -10, 3, 48_000)
SWEEP = capture.sweep(5, -10, 48_000)
SAID = {"what": "tone", "mains": "60", "sweep": "10"}


def sent(tablet: Tablet, path: str, data: bytes = TONE, **said: str) -> Any:
    file = SimpleUploadedFile("track.wav", data, content_type="audio/wav")
    return tablet.send(path, {**SAID, **said, "file": file})


def test_a_recording_becomes_an_answer_on_the_worksheet(as_bench: Tablet) -> None:
    response = sent(as_bench, reverse("recording"), load="8", told="20 ± 0.1")
    assert response.status_code == 302
    where = urlsplit(response["Location"])
    assert where.path == reverse("worksheet", args=["power-and-level"])
    assert len(response["Location"]) < 3000
    asked = parse_qs(where.query)
    assert (asked["load"], asked["told"], asked["source"]) == (["8"], ["20 ± 0.1"], ["recording"])
    page = as_bench.get(response["Location"]).content.decode()
    assert "THD below" in page
    assert "Recording: taken in." in page


def test_a_sweep_is_read_as_one(as_bench: Tablet) -> None:
    response = sent(as_bench, reverse("recording"), SWEEP, what="sweep", sweep="5")
    assert "Within 3 dB of 1 kHz from below 20 Hz" in as_bench.get(response["Location"]).content.decode()


def test_from_a_job_it_leads_back_to_the_job_and_can_be_kept(as_bench: Tablet, bench: Staff) -> None:
    job = passed(JobFactory(), bench)
    response = sent(as_bench, reverse("job-recording", args=[job.claim]))
    where = urlsplit(response["Location"])
    assert where.path == reverse("job-worksheet", args=[job.claim, "power-and-level"])
    said = {name: texts[0] for name, texts in parse_qs(where.query).items()}
    kept = as_bench.send(
        reverse("job-worksheet-keep", args=[job.claim, "power-and-level"]), {**said, "when": "before"}
    )
    assert kept.status_code == 302
    row = KeptSheet.objects.get()
    assert row.said["capture"] == said["capture"]
    page = as_bench.get(reverse("kept-worksheet", args=[row.pk])).content.decode()
    assert "taken in" in page
    assert said["capture"] not in page
    paper = as_bench.get(reverse("worksheets-paper", args=[job.claim]) + "?view=html").content.decode()
    assert said["capture"] not in paper


def test_a_recording_of_one_job_is_not_offered_on_the_next(as_bench: Tablet, bench: Staff) -> None:
    job = passed(JobFactory(), bench)
    query = urlsplit(sent(as_bench, reverse("job-recording", args=[job.claim]))["Location"]).query
    said = {name: texts[0] for name, texts in parse_qs(query).items()}
    as_bench.send(
        reverse("job-worksheet-keep", args=[job.claim, "power-and-level"]), {**said, "when": "before"}
    )
    again = JobFactory(gear=job.gear)
    page = as_bench.get(reverse("job-worksheet", args=[again.claim, "power-and-level"])).content.decode()
    assert said["capture"] not in page


@pytest.mark.parametrize(
    ("data", "said", "why"),
    [
        (b"RIFF....WAVE", {}, "no recording in this file"),
        (b"<svg onload=alert(1)>", {}, "no WAV file"),
        (TONE[:-1000], {}, "cut short"),
        (b"", {}, "That file is empty"),
        (b"RIFF" + bytes(20 * 1024 * 1024), {}, "larger than 20 MB"),
        (TONE, {"what": "sweep"}, "shorter than the sweep"),
        (TONE, {"what": "sweep", "sweep": "5"}, "shorter than the sweep"),
        (TONE, {"what": "a song"}, "Select a valid choice"),
        (TONE, {"mains": "16.7"}, "Select a valid choice"),
        (TONE, {"sweep": "7"}, "Select a valid choice"),
    ],
)
def test_a_recording_that_cannot_be_read_is_refused_with_a_sentence(
    as_bench: Tablet, data: bytes, said: dict[str, str], why: str
) -> None:
    response = sent(as_bench, reverse("recording"), data, load="8", **said)
    page = response.content.decode()
    assert response.status_code == 422
    assert why in page
    assert '<input type="hidden" name="load" value="8">' in page


def test_no_file_at_all_is_asked_for(as_bench: Tablet) -> None:
    response = as_bench.send(reverse("recording"), SAID)
    assert response.status_code == 422
    assert "No recording came" in response.content.decode()


def test_a_text_in_place_of_the_file_is_no_file(as_bench: Tablet) -> None:
    assert as_bench.send(reverse("recording"), {**SAID, "file": "track.wav"}).status_code == 422


def test_sending_it_twice_by_one_key_is_sending_it_once(as_bench: Tablet) -> None:
    from shop.once import FIELD, new_key

    key = new_key()
    answers = [sent(as_bench, reverse("recording"), **{FIELD: key}) for _ in range(2)]
    assert answers[0]["Location"] == answers[1]["Location"]


def test_what_was_typed_elsewhere_is_escaped_and_bounded(as_bench: Tablet) -> None:
    page = as_bench.get(
        reverse("recording"), {"load": '"><script>', "volts": "9" * 5000, "else": "x"}
    ).content.decode()
    assert '"><script>' not in page
    assert 'name="volts"' not in page
    assert 'name="else"' not in page


def test_the_worksheet_leads_to_it_for_those_who_work_on_jobs(as_bench: Tablet, as_counter: Tablet) -> None:
    path = reverse("worksheet", args=["power-and-level"])
    assert f'formaction="{reverse("recording")}"' in as_bench.get(path).content.decode()
    assert "formaction" not in as_counter.get(path).content.decode()
    assert as_counter.get(reverse("recording")).status_code == 403


def test_no_other_worksheet_asks_for_recordings(as_bench: Tablet) -> None:
    assert reverse("recording") not in as_bench.get(reverse("worksheet", args=["markings"])).content.decode()


# --- the signals to play


def test_the_tone_is_a_file_to_keep(as_bench: Tablet) -> None:
    response = as_bench.get(
        reverse("test-tone"), {"frequency": "440", "level": "-6", "seconds": "2", "rate": "44100"}
    )
    assert response["Content-Type"] == "audio/wav"
    assert response["Content-Disposition"] == 'attachment; filename="tone-440-Hz.wav"'
    rate, samples = wavfile.read(io.BytesIO(response.content))
    assert (rate, len(samples)) == (44_100, 88_200)


def test_the_sweep_is_a_file_to_keep(as_bench: Tablet) -> None:
    response = as_bench.get(reverse("test-sweep"), {"level": "-6", "seconds": "5", "rate": "48000"})
    assert response["Content-Disposition"] == 'attachment; filename="sweep-5-s.wav"'
    rate, samples = wavfile.read(io.BytesIO(response.content))
    assert (rate, len(samples)) == (48_000, round(6.5 * 48_000))


@pytest.mark.parametrize(
    "wrong",
    [
        {"frequency": "19"}, {"frequency": "20001"}, {"frequency": "nan"}, {"frequency": ""}, {"frequency": "1e400"},
        {"level": "1"}, {"level": "-90"}, {"level": "inf"}, {"seconds": "0"}, {"seconds": "31"}, {"seconds": "1.5"},
        {"seconds": "9" * 400}, {"rate": "1"}, {"rate": "192000"}, {"rate": "x"},
        {"frequency": "19900", "rate": "44100"},
    ],
)  # fmt: skip
def test_a_tone_out_of_bounds_is_refused_beside_its_field(as_bench: Tablet, wrong: dict[str, str]) -> None:
    said = {"frequency": "1000", "level": "-6", "seconds": "2", "rate": "48000", **wrong}
    response = as_bench.get(reverse("test-tone"), said)
    assert response.status_code == 422
    assert "field-wrong" in response.content.decode()


@pytest.mark.parametrize("wrong", [{"seconds": "60"}, {"level": "3"}, {"rate": "8000"}, {"seconds": ""}])
def test_a_sweep_out_of_bounds_is_refused_beside_its_field(as_bench: Tablet, wrong: dict[str, str]) -> None:
    said = {"level": "-6", "seconds": "5", "rate": "48000", **wrong}
    response = as_bench.get(reverse("test-sweep"), said)
    assert response.status_code == 422
    assert "field-wrong" in response.content.decode()
