"""Photos: what comes in is a picture, what goes out is ours, and only staff see it."""

import datetime as dt
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from intake import work
from intake.models import State
from shop import sweeping, timeline
from tests.factories import JobFactory

GPS = 0x8825


def picture(size=(320, 240), kind="JPEG", **how):
    kept = io.BytesIO()
    Image.new("RGB", size, "teal").save(kept, kind, **how)
    return kept.getvalue()


def with_place():
    exif = Image.Exif()
    exif[GPS] = {1: "N", 2: (40.0, 26.0, 46.0)}
    exif[0x010F] = "Camera maker"
    return picture(exif=exif)


def send(tablet, job, content, name="IMG_0001.jpg", caption="Chassis", **how):
    file = SimpleUploadedFile(name, content, content_type="image/jpeg")
    return tablet.send(f"/job/{job.claim}/photos/", {"picture": file, "caption": caption}, **how)


def test_a_photo_is_kept_and_shown(as_bench, bench):
    job = JobFactory()
    assert send(as_bench, job, picture()).headers["Location"] == f"/job/{job.claim}/#photos"
    photo = job.photos.get()
    assert (photo.width, photo.height, photo.caption, photo.by) == (320, 240, "Chassis", bench)
    assert timeline.of(job).get().words == "took a photo"
    assert reverse("photo", args=[photo.pk, "small"]).encode() in as_bench.get(f"/job/{job.claim}/").content


def test_several_are_sent_one_after_another(as_bench):
    job = JobFactory()
    for _ in range(3):
        answer = send(as_bench, job, picture(), HTTP_X_PHOTO="1")
        assert answer.status_code == 204
    assert job.photos.count() == 3
    assert as_bench.part(f"/job/{job.claim}/photos/").content.count(b"<img") == 3


def test_what_the_camera_wrote_beside_it_is_not_kept(as_bench):
    job = JobFactory()
    original = with_place()
    assert GPS in Image.open(io.BytesIO(original)).getexif()
    send(as_bench, job, original)
    for size in ("small", "full"):
        served = b"".join(as_bench.get(reverse("photo", args=[job.photos.get().pk, size])).streaming_content)
        assert not Image.open(io.BytesIO(served)).getexif()
        assert b"Camera maker" not in served


def test_the_name_it_came_with_is_forgotten(as_bench):
    job = JobFactory()
    send(as_bench, job, picture(), name="../../Dana at home.jpg")
    assert job.photos.get().image.name.startswith(f"photos/2611/{job.claim}-")
    assert "Dana" not in job.photos.get().image.name


def test_a_photo_is_served_as_a_picture_and_nothing_else(as_bench):
    job = JobFactory()
    send(as_bench, job, picture())
    answer = as_bench.get(reverse("photo", args=[job.photos.get().pk, "full"]))
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "private" in answer["Cache-Control"]
    assert answer["Content-Security-Policy"] == "default-src 'none'"


def test_only_staff_see_a_photo(as_bench, as_pad, as_counter, client):
    job = JobFactory()
    send(as_bench, job, picture())
    address = reverse("photo", args=[job.photos.get().pk, "full"])
    assert as_counter.get(address).status_code == 200
    assert as_pad.get(address).status_code == 403
    assert client.get(address).status_code == 302


@pytest.mark.parametrize("size", ["large", "..", "image", "full.jpg"])
def test_there_are_two_sizes(as_bench, size):
    job = JobFactory()
    send(as_bench, job, picture())
    assert as_bench.get(f"/photo/{job.photos.get().pk}/{size}/").status_code == 404


NOT_PICTURES = {
    "text": b"hello",
    "html": b"<html><script>alert(1)</script></html>",
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "gif": b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
    "cut off": picture()[:200],
    "pdf": b"%PDF-1.7 ",
    "noise": bytes(range(256)) * 8,
}


@pytest.mark.parametrize("content", NOT_PICTURES.values(), ids=NOT_PICTURES.keys())
def test_what_is_no_picture_is_refused_with_words(as_bench, content):
    job = JobFactory()
    answer = send(as_bench, job, content, caption="Where I typed a lot")
    assert answer.status_code == 422
    assert b"field-wrong" in answer.content
    assert b"Where I typed a lot" in answer.content
    assert not job.photos.exists()


def test_the_cameras_script_gets_the_sentence_as_plain_text(as_bench):
    answer = send(as_bench, JobFactory(), b"hello", HTTP_X_PHOTO="1")
    assert answer.status_code == 422
    assert answer["Content-Type"].startswith("text/plain")
    assert b"Choose a picture" in answer.content


def test_no_picture_and_an_empty_one_get_their_sentences(as_bench):
    job = JobFactory()
    assert b"No picture came" in as_bench.send(f"/job/{job.claim}/photos/", {"caption": "x"}).content
    assert b"That file is empty" in send(as_bench, job, b"").content


def test_a_photo_is_struck_out_and_put_back(as_counter):
    job = JobFactory()
    send(as_counter, job, picture())
    here = f"/job/{job.claim}/photos/{job.photos.get().pk}"
    as_counter.send(f"{here}/strike/")
    assert job.photos.get().struck_at
    as_counter.send(f"{here}/put-back/")
    assert job.photos.get().struck_at is None
    assert timeline.of(job).count() == 3


def test_a_job_that_is_gone_takes_no_photos(as_bench):
    job = JobFactory(state=State.COLLECTED)
    answer = send(as_bench, job, picture())
    assert answer.status_code == 422
    assert b"stays as it is" in answer.content
    assert not job.photos.exists()


def test_a_picture_whose_file_is_gone_is_not_found(as_bench):
    job = JobFactory()
    send(as_bench, job, picture())
    photo = job.photos.get()
    photo.image.storage.delete(photo.image.name)
    assert as_bench.get(reverse("photo", args=[photo.pk, "full"])).status_code == 404


# --- Files that no row names ---------------------------------------------------------------------------------


def files(root):
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


def test_the_files_of_a_photo_that_came_to_nothing_are_swept_up(as_bench, bench, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    job = JobFactory()
    send(as_bench, job, picture())
    kept = files(tmp_path)
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        work.photograph(job, file=io.BytesIO(picture()), caption="", by=bench)
        1 / 0  # noqa: B018
    (tmp_path / "photos" / job.month / "notes of the owner.jpg").write_bytes(b"theirs")
    assert len(files(tmp_path)) == len(kept) + 3
    sweeping.sweep(timezone.now())
    assert len(files(tmp_path)) == len(kept) + 3, "it may be in the making"
    sweeping.sweep(timezone.now() + dt.timedelta(hours=2))
    assert files(tmp_path) == kept | {f"photos/{job.month}/notes of the owner.jpg"}
