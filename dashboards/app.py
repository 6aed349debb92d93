"""The entry point: navigation and the filters that every page shares. Started by ``dogdays dashboard``."""

from __future__ import annotations

import datetime as dt
import logging

import streamlit as st

from dashboards import data, layout
from fleet.errors import FleetError, StoreError
from fleet.present.places import Places

LOGGER = logging.getLogger("dogdays")

EVERYWHERE = "All properties"
EVERY_BUILDING = "All buildings"

PAGES = {
    "Plan": [
        st.Page("app_pages/before_summer.py", title="Before summer", url_path="before-summer", default=True),
        st.Page("app_pages/by_building.py", title="By building", url_path="by-building"),
    ],
    "At the unit": [
        st.Page("app_pages/one_unit.py", title="One unit", url_path="one-unit"),
        st.Page("app_pages/keeps_failing.py", title="What keeps failing", url_path="what-keeps-failing"),
        st.Page("app_pages/which_kinds.py", title="Which kinds fail more", url_path="which-kinds-fail-more"),
        st.Page("app_pages/capacitors.py", title="Capacitors", url_path="capacitors"),
        st.Page("app_pages/how_long_parts_last.py", title="How long parts last", url_path="how-long-parts-last"),
        st.Page("app_pages/comes_back.py", title="What comes back", url_path="what-comes-back"),
        st.Page("app_pages/fails_together.py", title="What fails together", url_path="what-fails-together"),
        st.Page("app_pages/suspect_parts.py", title="Suspect parts", url_path="suspect-parts"),
        st.Page("app_pages/refrigerant.py", title="Refrigerant", url_path="refrigerant"),
    ],
    "Looking back": [
        st.Page("app_pages/hot_homes.py", title="Homes without cooling", url_path="homes-without-cooling"),
        st.Page("app_pages/money.py", title="Seasons and money", url_path="seasons-and-money"),
        st.Page("app_pages/the_log.py", title="The log", url_path="the-log"),
    ],
}


def choose_filters(places: Places) -> data.Filters:
    """Ask for property, building and day in the side column; every page sees the same choice."""
    side = st.sidebar
    properties = places.properties()
    prop = ""
    if len(properties) > 1:
        chosen = side.selectbox("Property", [EVERYWHERE, *properties], key="property", persist_state="session")
        prop = "" if chosen == EVERYWHERE else str(chosen)
    buildings = places.buildings(prop)
    building = ""
    if buildings:
        picked = side.selectbox(
            "Building", [EVERY_BUILDING, *buildings], key=f"building {prop}", persist_state="session"
        )
        building = "" if picked == EVERY_BUILDING else str(picked)
    first, last = places.window
    as_of = side.date_input(
        "As known on", None, first, last, key="as_of", persist_state="session", help="Empty: the log's last day."
    )
    return data.Filters(prop=prop, building=building, as_of=as_of if isinstance(as_of, dt.date) else None)


def main() -> None:
    """Show the chosen page, or say what is missing."""
    st.set_page_config(page_title="Dogdays", layout="wide")
    st.html(layout.STYLE)
    page = st.navigation(PAGES, expanded=True)
    try:
        st.session_state["filters"] = choose_filters(data.places(data.Filters()))
        page.run()
    except StoreError as error:
        layout.nothing_loaded(str(error), str(data.store_path()))
    except FleetError as error:
        layout.cannot(str(error))
    except Exception:
        # the last resort: our own words on the page, everything else in the server's own record
        LOGGER.exception("a page failed")
        layout.failed()


main()
