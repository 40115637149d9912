"""Pure models: floats in, floats out, keyword-only; no clock, no I/O, no parameter of their own."""
