"""Two people at work at the same time, each in a browser of their own."""

import pytest

pytestmark = pytest.mark.browser


def open_review(chromium, server, name):
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(120_000)
    page = context.new_page()
    page.goto(server.url)
    page.get_by_role("link", name="Review", exact=True).click()
    page.get_by_label("Your name or initials").first.fill(name)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Confirm").first.wait_for()
    settle(page)
    return page


def settle(page):
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    page.wait_for_timeout(300)


def photo_of(page):
    return page.url.partition("photo=")[2]


def rule_out_everything(page):
    """Decide on both marks of the photo, each once the page is ready for it."""
    for at in ("1 of 2", "2 of 2"):
        page.get_by_role("heading", name=at).wait_for()
        settle(page)
        page.get_by_role("button", name="Rule out").first.click()
    page.get_by_text("All decided on this photo.").wait_for()
    settle(page)


def go_on(page):
    """Take the next photo."""
    before = page.url
    page.get_by_role("button", name="Next photo").click()
    page.wait_for_url(lambda url: url != before)
    settle(page)


def test_two_sessions_share_one_worklist(chromium, server, store, picture, screened):
    for n in range(6):
        store.add_photo(screened(picture(n), name=f"{n}.jpg"), data=picture(n))
    people = {name: open_review(chromium, server, name) for name in ("A. Able", "B. Baker")}
    looked_at = {name: [photo_of(page)] for name, page in people.items()}
    for left in (2, 1, 0):
        for page in people.values():
            rule_out_everything(page)
        for name, page in people.items() if left else ():
            go_on(page)
            looked_at[name].append(photo_of(page))
    first, second = (set(photos) for photos in looked_at.values())
    assert (len(first), len(second)) == (3, 3)
    assert not first & second
    assert store.stages() == {"decided": 6}
    for entry in store.worklist():
        for candidate in store.candidates(entry.photo.id):
            (decision,) = store.history(candidate.id)
            assert decision.by == ("A. Able" if entry.photo.id in first else "B. Baker")
    for page in people.values():
        page.context.close()


def test_a_page_that_is_loaded_anew_goes_on_with_its_own_photo(chromium, server, store, picture, screened):
    store.add_photo(screened(picture()), data=picture())
    page = open_review(chromium, server, "A. Able")
    page.get_by_role("button", name="Cannot tell").first.click()
    page.get_by_role("heading", name="2 of 2").wait_for()  # the page takes the name from that decision
    page.reload()
    page.get_by_role("button", name="Rule out").first.wait_for()
    page.get_by_role("heading", name="2 of 2").wait_for()
    settle(page)
    page.wait_for_timeout(1000)
    page.get_by_role("button", name="Rule out").first.click()
    page.get_by_text("All decided on this photo.").wait_for()
    assert page.get_by_text("is at work on this photo").count() == 0
    page.context.close()
