"""What the server holds does not grow with the photos that one person looks at in one session."""

import os
from pathlib import Path

import pytest

PHOTOS, FIRST = int(os.environ.get("VISUAL_AID_TEST_PHOTOS", "60")), 20
# A photo of the tests has 1200 x 1600 pixels of 3 bytes: holding those of the photos after the first would
# take 230 MB. With 200 photos holding even their files would show, 130 MB.
BOUND = 50_000_000


def resident(process):
    """Give the resident memory of a process in bytes (proc(5), VmRSS)."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return 1024 * int(next(line for line in lines if line.startswith("VmRSS:")).split()[1])


@pytest.mark.browser
def test_the_server_forgets_the_photos_that_it_has_shown(visit, server, store, picture, screened):
    data = picture()
    for number in range(PHOTOS):
        # What follows the end of a JPEG makes it another file with the same picture.
        photo = data + number.to_bytes(2)
        store.add_photo(screened(photo, name=f"IMG_{number}.jpg"), data=photo)
    person = visit()
    person.look()
    seen, memory = set(), []
    while len(seen) < PHOTOS:
        person.page.locator(".viewer[data-state=shown]").wait_for()
        person.page.locator("img.magnifier").evaluate("async (image) => image.decode()")
        seen.add(before := person.page.url)
        memory.append(resident(server.process.pid))
        person.settle()
        if len(seen) < PHOTOS:
            person.page.keyboard.press("PageDown")
            person.page.wait_for_function("before => location.href !== before", arg=before)
    assert max(memory) - memory[FIRST] < BOUND
