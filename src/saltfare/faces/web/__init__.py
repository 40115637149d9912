"""The pages, one module of routes per part."""
