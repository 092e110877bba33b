"""What the server holds does not grow with the photos that were looked at."""

import urllib.request
from pathlib import Path

PHOTOS, FIRST = 80, 20
# A photo of the tests has 1200 x 1600 pixels of 3 bytes. Holding the pixels of those after the first would
# take 346 MB, holding even their files 60 MB.
BOUND = 40_000_000


def resident(process):
    """Give the resident memory of a process in bytes (proc(5), VmRSS)."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return 1024 * int(next(line for line in lines if line.startswith("VmRSS:")).split()[1])


def test_the_server_forgets_the_photos_that_it_has_shown(server, store, picture, screened):
    data = picture()
    for number in range(PHOTOS):
        # What follows the end of a JPEG makes it another file with the same picture.
        photo = data + number.to_bytes(2)
        store.add_photo(screened(photo, name=f"IMG_{number}.jpg"), data=photo)
    memory = []
    for entry in store.worklist():
        candidate = store.candidates(entry.photo.id)[0].id
        for what in (f"photo/{entry.photo.id}", f"magnified/{entry.photo.id}/{candidate}"):
            with urllib.request.urlopen(f"{server.url}/{what}", timeout=60) as answer:
                assert len(answer.read()) > 1000
        memory.append(resident(server.process.pid))
    assert max(memory) - memory[FIRST] < BOUND
