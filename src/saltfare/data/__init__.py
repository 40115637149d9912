"""Published figures and the words, read only through core.tables, core.sources and faces.words."""
