"""The way between the pages."""

from pathlib import Path

import streamlit as st

from visual_aid.pages import signin
from visual_aid.pages.people import TEACHERS
from visual_aid.pages.session import keep_signature, may, signed_in
from visual_aid.pages.trouble import run_telling_trouble

st.set_page_config(page_title="visual-aid", layout="wide")
st.html(Path(__file__).with_name("page.css"))
if signin.at_the_door is not None and signed_in() is None:
    # The socket stays open after a session has ended elsewhere.
    st.error("You are signed out. Load this page again to sign in.")
    st.stop()
keep_signature()


def _to_worklist() -> None:
    st.switch_page("worklist.py")


page = st.navigation(
    {
        "": [
            # It answers at "/" alone, whatever its path, which leaves that of its name to be led from.
            st.Page("worklist.py", title="Worklist", url_path="start", default=True),
            st.Page(_to_worklist, url_path="worklist", visibility="hidden"),
            st.Page("visit.py", title="Visit"),
            st.Page("review.py", title="Review"),
            st.Page("compare.py", title="Compare"),
            st.Page("hand_checks.py", title="Hand checks"),
            st.Page("torque.py", title="Torque"),
            st.Page("due.py", title="Due"),
            st.Page("log.py", title="Log"),
            st.Page("add_photos.py", title="Add photos"),
        ],
        "Backlog": [
            st.Page("patterns.py", title="Patterns"),
            *([st.Page("threshold.py", title="Threshold")] if may("lead") else []),
        ],
        "Teaching": [
            *([st.Page("gallery.py", title="Gallery")] if may(*TEACHERS) else []),
            *([st.Page("lessons.py", title="Lessons")] if may(*TEACHERS) else []),
            st.Page("quiz.py", title="Quiz"),
            *([st.Page("trainees.py", title="Trainees")] if may(*TEACHERS) else []),
        ],
    },
    position="top",
)
run_telling_trouble(page.run)
