"""Nothing of the trade: units, figures, errors, sources, tables, the library, numerics."""
