"""Every problem the journal and the jobs can raise has words, and they can be said with its figures."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from journal_bench import NOON, Bench, hung, weighed

import saltfare.jobs
import saltfare.journal
from saltfare.core.errors import Conflict, JournalError, Problem, Refused
from saltfare.faces.words import Words
from saltfare.journal import exchange
from saltfare.journal.codes import parse_code
from saltfare.journal.database import _CODES
from saltfare.journal.events import Corrected
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal

SOURCES = [Path(saltfare.jobs.__file__), *sorted(Path(saltfare.journal.__file__).parent.rglob("*.py"))]
RAISED = re.compile(r'(?:Problem|_failed|_refused)\(\s*"([a-z_]+)"')


def codes() -> set[str]:
    found = {code for source in SOURCES for code in RAISED.findall(source.read_text("utf-8"))}
    return found | {code for _, code in _CODES.values()} | {"journal_failed"}


def test_every_code_has_text_and_mend():
    words, listed = Words(), codes()
    assert len(listed) > 40
    for code in sorted(listed):
        for part in ("text", "mend"):
            assert words.has(f"problem.{code}.{part}"), f"{code} has no {part}"


def test_words_of_the_journal_are_all_used():
    import tomllib

    path = Path(saltfare.__file__).parent / "data" / "words" / "journal.toml"
    told = tomllib.loads(path.read_text("utf-8"))
    assert set(told["problem"]) <= codes()
    assert "safe" not in path.read_text("utf-8").lower()


def test_problems_as_raised_can_be_said(bench: Bench, tmp_path: Path):
    words, said = Words(), []

    def catch(work, *args, **more) -> None:
        try:
            work(*args, **more)
        except Refused as refused:
            said.extend(refused.problems)
        except JournalError as error:
            said.append(error.problem)
        else:
            pytest.fail(f"{work} did not refuse")

    one = bench.put("piece/A", weighed(2.0), request_id="r")
    cup = {"zone": "UTC", "actor": "t", "recorded_at": NOON}
    bench.journal.readings.import_("cup", [Reading(NOON, 12.0, 0.7)], **cup)
    for typed in ("OOOOOOO", "123", "0000001"):
        catch(parse_code, typed)
    catch(bench.put, "piece/A", weighed(2.0), corrects=one.id)
    catch(bench.put, "piece/B", Corrected(what="withdraw"), corrects=one.id)
    catch(bench.put, "piece/A", Corrected(what="replace"), corrects=one.id)
    catch(bench.put, "piece/A", Corrected(what="replace", new=hung(1.0)), corrects=one.id)
    catch(bench.put, "piece/A", weighed(3.0), request_id="r")
    catch(bench.put, "no stream", weighed(3.0))
    catch(bench.put, "piece/A", weighed(3.0), request_id="x" * 999)
    catch(bench.journal.readings.import_, "cup", [Reading(NOON, 13.0, 0.7)], **cup)
    catch(bench.journal.readings.import_, "cup", [Reading(NOON, float("nan"), 0.7)], **cup)
    catch(bench.journal.readings.import_, "cup", [], **cup)
    catch(Journal.open, "postgresql://h/db")
    (tmp_path / "x.db").write_bytes(b"x" * 200)
    catch(Journal.open, tmp_path / "x.db")
    for text in ("", "{}\n", '{"format":"saltfare-journal","version":9,"schema":1}\n'):
        (tmp_path / "in.jsonl").write_text(text)
        catch(exchange.take_in, bench.journal, tmp_path / "in.jsonl")
    bench.journal.backup(tmp_path / "b.db")
    catch(Journal.restore, bench.journal.path, tmp_path / "b.db", dry_run=False, patience_s=0.01)
    with Journal.open(bench.journal.path, read_only=True) as reader:
        catch(Bench(reader).put, "piece/A", weighed(1.0))
    assert len(said) >= 18 and all(isinstance(one, Problem) for one in said)
    for problem in said:
        told = words.problem(problem)
        assert told.text and told.mend and "{" not in told.text + told.mend
    with pytest.raises(Conflict):
        bench.put("piece/A", weighed(1.0), seen_version=0)
