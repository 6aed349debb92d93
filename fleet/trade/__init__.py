"""Knowledge of the trade as pure functions: components, capacitors, refrigerant, degree days, cautions."""
