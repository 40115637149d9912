"""Compositions of models into plans and forecasts, still pure."""
