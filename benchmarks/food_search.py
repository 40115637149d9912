"""Food search beside a general full-text index, in one run, as ratios.

The peer is SQLite's FTS5 over the same names: once as words with stemming and prefixes, once as trigrams,
which forgive some slips. Queries are what people type, a third of them with a slip; a hit is the food
meant among the first five. Run: python benchmarks/food_search.py
"""

from __future__ import annotations

import re
import sqlite3
import statistics
import time
from collections.abc import Callable

from saltfare.core import foods, tables
from saltfare.models.food_search import Usual, build_index, search

# query, number of the food meant in the release
QUERIES = (
    ("red lentils", "16144"),
    ("brown rice", "20036"),
    ("onion", "11282"),
    ("carrots", "11124"),
    ("olive oil", "04053"),
    ("black beans", "16014"),
    ("garlic", "11215"),
    ("spinach", "11457"),
    ("almonds", "12061"),
    ("raisins", "09298"),
    ("couscous", "20028"),
    ("pork belly", "10005"),
    ("chicken breast", "05062"),
    ("sun dried tomatoes", "11955"),
    ("apples", "09003"),
    ("parmesan", "01033"),
    ("red lentls", "16144"),
    ("brwn rice", "20036"),
    ("onoin", "11282"),
    ("carots", "11124"),
    ("spinnach", "11457"),
    ("brocoli", "11090"),
    ("parmezan", "01033"),
    ("zuchini", "11477"),
)
REPEATS = 20


def best(function: Callable[[], object]) -> float:
    """The shortest of a few runs, in seconds."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def full_text(tokenizer: str) -> tuple[float, Callable[[str], list[str]]]:
    """Seconds to build the peer, and its search."""
    start = time.perf_counter()
    db = sqlite3.connect(":memory:")
    db.execute(f"CREATE VIRTUAL TABLE food USING fts5(id UNINDEXED, name, tokenize='{tokenizer}')")
    db.executemany("INSERT INTO food VALUES (?, ?)", [(food.id, food.name) for food in foods.names()])
    took = time.perf_counter() - start
    star, joint = ("*", " ") if tokenizer.startswith("porter") else ("", " OR ")

    def find(query: str) -> list[str]:
        words = re.findall(r"[a-z0-9]+", query.lower())
        if joint == " OR ":  # a slip spoils some trigrams of a word, not all
            words = [word[i : i + 3] for word in words for i in range(len(word) - 2)]
        match = joint.join(f'"{word}"{star}' for word in words)
        rows = db.execute("SELECT id FROM food WHERE food MATCH ? ORDER BY rank LIMIT 5", (match,))
        return [row[0] for row in rows]

    return took, find


def main() -> None:
    """Measure and print."""
    list(foods.names())
    start = time.perf_counter()
    index = build_index(
        foods=foods.names(),
        usual=[Usual.from_row(row) for row in tables.load("pantry")],
        own=[],
        means={row.text("id"): row.text("means") for row in tables.load("food_words")},
    )
    ours_build = time.perf_counter() - start

    def ours(query: str) -> list[str]:
        return [hit.food_id for hit in search(index=index, query=query, limit=5)]

    print(f"{'':24}{'build':>9}{'query':>10}{'worst':>10}{'found in five':>15}")
    result = {}
    for name, (build, find) in {
        "saltfare": (ours_build, ours),
        "fts5 words": full_text("porter unicode61"),
        "fts5 trigrams": full_text("trigram"),
    }.items():
        times = [best(lambda query=query, find=find: find(query)) for query, _ in QUERIES]
        found = sum(meant in find(query) for query, meant in QUERIES)
        result[name] = (build, statistics.median(times), max(times), found / len(QUERIES))
        middle, worst = result[name][1] * 1e3, result[name][2] * 1e3
        print(f"{name:24}{build * 1e3:6.0f} ms{middle:7.2f} ms{worst:7.2f} ms{result[name][3]:14.0%}")
    for name in ("fts5 words", "fts5 trigrams"):
        ratios = [ours / peer for ours, peer in zip(result["saltfare"], result[name], strict=True)]
        print(f"to {name:21}{ratios[0]:8.2f}x{ratios[1]:9.2f}x{ratios[2]:9.2f}x{ratios[3]:14.2f}x")
    assert result["saltfare"][2] < 0.020, "a query took longer than 20 ms"
    assert result["saltfare"][3] >= max(result["fts5 words"][3], result["fts5 trigrams"][3])


if __name__ == "__main__":
    main()
