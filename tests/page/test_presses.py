"""Presses that come fast, or before the page is drawn anew: each is kept, or the page says that it is not."""

import pytest

pytestmark = pytest.mark.browser


class Line:
    """The socket between a person's page and the server, whose answers can be held back."""

    def __init__(self, page):
        self._held = None
        self._page = page
        page.route_web_socket("**/_stcore/stream", self._connect)
        page.reload()

    def _connect(self, socket):
        server = socket.connect_to_server()

        def answer(message):
            if self._held is None:
                socket.send(message)
            else:
                self._held.append((socket, message))

        server.on_message(answer)

    def hold(self):
        self._held = []

    def quiet(self):
        """Wait until the server has said all there is to say."""
        said = -1
        while said != len(self._held):
            said = len(self._held)
            self._page.wait_for_timeout(700)

    def release(self):
        held, self._held = self._held, None
        for socket, message in held:
            socket.send(message)


@pytest.fixture
def at_work(visit, store, picture, screened):
    """Give a person who looks at the first of two marks of a photo, and the photo."""
    photo = store.add_photo(screened(picture()), data=picture())
    person = visit()
    line = Line(person.page)
    person.look()
    person.sign()
    return person, line, photo


def said(store, photo):
    """Give all that was ever decided on each of a photo's marks."""
    return [[d.outcome for d in store.history(c.id)] for c in store.candidates(photo.id)]


def test_a_second_press_before_the_page_is_redrawn_is_none_on_the_next_mark(at_work, store):
    person, line, photo = at_work
    line.hold()
    person.button("Confirm").click()
    line.quiet()
    assert said(store, photo) == [["confirmed"], []]
    person.page.get_by_role("heading", name="1 of 2").wait_for()  # as far as the person can see
    person.button("Rule out").click()
    line.quiet()
    line.release()
    person.page.get_by_text("Confirmed by J. Doe").wait_for()
    assert said(store, photo) == [["confirmed"], []]
    person.page.locator("[data-testid=stToast]").get_by_text("nothing was recorded now").wait_for()


def test_the_same_press_twice_is_one_decision_and_no_trouble(at_work, store):
    person, line, photo = at_work
    line.hold()
    for _ in range(3):
        person.button("Confirm").click()
        line.quiet()
    line.release()
    person.page.get_by_role("heading", name="2 of 2").wait_for()
    assert said(store, photo) == [["confirmed"], []]
    assert person.page.locator("[data-testid=stToast]").count() == 0


def test_a_late_press_is_for_what_it_was_pressed_on(at_work, store):
    person, line, photo = at_work
    line.hold()
    person.button("Next").click()
    line.quiet()
    person.page.get_by_role("heading", name="1 of 2").wait_for()
    person.button("Rule out").click()
    line.quiet()
    line.release()
    person.page.get_by_role("heading", name="2 of 2").wait_for()
    person.page.get_by_text("1 Rust trail: ruled out").wait_for()
    assert said(store, photo) == [["ruled_out"], []]


def as_soon_as_redrawn(page, candidate, press):
    """Have the page itself press as soon as it asks about another candidate, faster than any person."""
    page.evaluate(
        """([candidate, press]) => {
          const watch = new MutationObserver(() => {
            const button = document.querySelector(`.st-key-decide .st-key-confirmed-${candidate}-0 button`);
            if (!button) return;
            watch.disconnect();
            const key = { key: "y", code: "KeyY", keyCode: 89, bubbles: true };
            if (press === "click") button.click();
            else document.body.dispatchEvent(new KeyboardEvent("keydown", key));
            window.pressedAgain = true;
          });
          watch.observe(document.body, { childList: true, subtree: true, attributeFilter: ["class"] });
        }""",
        [candidate, press],
    )


@pytest.mark.parametrize("press", ["click", "key"])
def test_a_double_press_decides_on_one_mark_and_says_so(at_work, store, press):
    person, _, photo = at_work
    as_soon_as_redrawn(person.page, store.candidates(photo.id)[1].id, press)
    person.page.keyboard.press("y")
    person.page.wait_for_function("window.pressedAgain")
    refusal = person.page.get_by_text("Not recorded: that press came before")
    refusal.wait_for()
    person.settle()
    assert said(store, photo) == [["confirmed"], []]
    person.consider()
    person.page.keyboard.press("y")
    person.page.get_by_text("All decided on this photo.").wait_for()
    assert said(store, photo) == [["confirmed"], ["confirmed"]]
    refusal.wait_for(state="hidden")


def test_a_held_key_decides_once(at_work, store):
    person, _, photo = at_work
    for _ in range(8):
        person.page.keyboard.down("n")  # all but the first are repeats of the held key
        person.page.wait_for_timeout(150)
    person.page.keyboard.up("n")
    person.settle()
    assert said(store, photo) == [["ruled_out"], []]
    person.page.get_by_text("or the key was held").wait_for()


def test_a_mark_named_twice_is_kept_once(at_work, store):
    person, line, _ = at_work
    person.drag(person.on_screen(900, 520), person.on_screen(600, 320), "Shift")
    person.button("Broken paint").wait_for()
    person.settle()
    line.hold()
    for _ in range(2):
        person.button("Broken paint").click()
        line.quiet()
    line.release()
    person.page.get_by_text("Marked by a person").wait_for()
    assert len(store.findings()) == 1
