"""Numbers that hold for the whole project, each with its reason."""

DAYS_PER_YEAR = 365.25
"""A unit-year; the average calendar year."""

LEVEL = 0.90
"""Two-sided level of every interval unless ``--level`` says otherwise."""

CHAIN_DAYS = 30
"""A further visit for the same fault within this many days belongs to it (common practice, no source)."""

TOLERANCE_PCT = 6.0
"""Run capacitor tolerance where the label's isn't recorded (usual marking; trade habit)."""

STORE_FOLDER = ".fleet"
"""Where the store lives unless ``--store`` moves it."""
