"""The page as a script: ``streamlit run app.py`` or ``python app.py``."""

import streamlit as st

from visual_aid.pages.memory import give_large_arrays_back
from visual_aid.pages.server import CONFIG, MAIN, MIDDLEWARE, ROUTES

give_large_arrays_back()
app = st.App(MAIN, routes=ROUTES, middleware=MIDDLEWARE)

if __name__ == "__main__":
    app.run(config=CONFIG)
