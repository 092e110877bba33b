"""The way between the pages."""

from pathlib import Path

import streamlit as st

from visual_aid.pages.session import keep_signature

st.set_page_config(page_title="visual-aid", layout="wide")
st.html(Path(__file__).with_name("page.css"))
keep_signature()
st.navigation(
    {
        "": [
            st.Page("worklist.py", title="Worklist", default=True),
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
            st.Page("threshold.py", title="Threshold"),
        ],
        "Teaching": [
            st.Page("gallery.py", title="Gallery"),
            st.Page("lessons.py", title="Lessons"),
            st.Page("quiz.py", title="Quiz"),
            st.Page("trainees.py", title="Trainees"),
        ],
    },
    position="top",
).run()
