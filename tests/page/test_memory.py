"""What the server holds does not grow with the photos that it shows and screens."""

import os
import platform
import subprocess
import sys
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


ARRAYS = """
import os
import numpy as np
from visual_aid.pages.memory import give_large_arrays_back

def resident():
    with open("/proc/self/statm") as file:  # proc(5)
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")

give_large_arrays_back()
np.ones(30_000_000, np.uint8)  # after this one the C library takes those that follow out of its heap
began = resident()
arrays, kept = [], []
for _ in range(20):
    arrays.append(np.ones(10_000_000, np.uint8))
    kept.append(bytearray(5_000))
del arrays
print(resident() - began)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only the GNU C library can be told")
def test_large_arrays_go_back_to_the_system_whatever_is_kept_between_them():
    ended = subprocess.run([sys.executable, "-c", ARRAYS], capture_output=True, text=True, check=True)
    assert int(ended.stdout) < BOUND
