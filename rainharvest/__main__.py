"""The command line: ``python -m rainharvest study``, ``new``, ``record`` and ``climates``."""

from __future__ import annotations

import argparse
import gc
import sys
from pathlib import Path

from rainharvest import __version__
from rainharvest.core.errors import InputError


def main(argv: list[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    argv : list of str, optional
        Arguments; those of the process by default.

    Returns
    -------
    int
        0 if done; 2 if the input cannot be used, with a line for each mistake on standard error.
    """
    parser = argparse.ArgumentParser(
        prog="python -m rainharvest",
        description="Rainwater yield studies: what will a tank of each size yield?",
    )
    parser.add_argument("--version", action="version", version=f"rainharvest {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    study = commands.add_parser("study", help="run a study file: report, results and tables")
    study.add_argument("file", metavar="STUDY.toml", help="the study file")
    study.add_argument("--out", metavar="FOLDER", required=True, help="folder for the results")
    study.add_argument(
        "--cache",
        metavar="FOLDER",
        help='where results of earlier runs are kept, safe to delete; "off" for none (the user\'s cache folder)',
    )
    new = commands.add_parser("new", help="begin a study from a rain record: writes a study file and runs it")
    new.add_argument("record", metavar="RECORD", help="the rain record")
    new.add_argument(
        "--out", metavar="FOLDER", required=True, help="folder for the study file and its results"
    )
    new.add_argument("--cache", metavar="FOLDER", help='as for study; "off" for none')
    record = commands.add_parser("record", help="read, check, fill and describe a rain record")
    record.add_argument("files", metavar="FILE", nargs="+", help="the record, then its neighbours")
    record.add_argument("--out", metavar="FOLDER", required=True, help="folder for the results")
    record.add_argument("--members", type=int, default=20, metavar="N", help="filled versions (20)")
    record.add_argument("--seed", type=int, default=0, metavar="N", help="makes the filling repeatable (0)")
    for reads in (new, record):
        for name in ("column", "units"):
            reads.add_argument(
                f"--{name}", metavar="NAME", help=f"the {name} of the record, where the file leaves doubt"
            )
        for name, says in {
            "day-first": "whether 03/04/1990 is the 3rd of April",
            "blank-is-zero": "whether days without a value were dry",
        }.items():
            reads.add_argument(f"--{name}", action=argparse.BooleanOptionalAction, default=None, help=says)
        reads.add_argument(
            "--at", type=float, nargs=2, metavar=("LAT", "LON"), help="the place, in a gridded file"
        )
        reads.add_argument(
            "--site", metavar="NAME", help="the site, station or sheet, in a file with several"
        )
    record.add_argument(
        "--gaps-end-in-totals",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="whether the reading after a gap of a month or less is the total of its days too",
    )
    ready = commands.add_parser(
        "ready", help="compile once what the notebooks run, so that they answer at once"
    )
    ready.add_argument(
        "file", metavar="STUDY.toml", nargs="?", help="a study to work as well, for its first page"
    )
    sheets = commands.add_parser("sheets", help="the notebooks as pages to print, and a page of answers")
    sheets.add_argument("--out", metavar="FOLDER", required=True, help="folder for the pages")
    sheets.add_argument("--notebooks", metavar="FOLDER", default="notebooks", help="where the notebooks lie")
    pages = commands.add_parser("pages", help="serve the notebooks as pages without code, for a class")
    pages.add_argument("--notebooks", metavar="FOLDER", default="notebooks", help="where the notebooks lie")
    pages.add_argument("--ip", default="localhost", help="0.0.0.0 lets other machines in (this one alone)")
    pages.add_argument("--port", type=int, default=8866, metavar="N", help="port of the pages (8866)")
    pages.add_argument(
        "--token", default="", metavar="WORD", help="what the address must end with: ?token=WORD"
    )
    climates = commands.add_parser("climates", help="put one building to every climate of a region")
    climates.add_argument("file", metavar="REGION.toml", help="the study file of many climates")
    climates.add_argument("--out", metavar="STORE", required=True, help="Zarr folder for the results")
    climates.add_argument(
        "--threads", type=int, metavar="N", help="regions worked side by side (all processors)"
    )
    climates.add_argument("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster, tcp://host:port")
    given = parser.parse_args(argv)
    if hasattr(sys.stdout, "reconfigure"):  # a letter that the terminal has not is no reason to stop
        sys.stdout.reconfigure(errors="backslashreplace")
    commanded = {
        "study": _study,
        "new": _new,
        "ready": _ready,
        "record": _record,
        "sheets": _sheets,
        "pages": _pages,
        "climates": _climates,
    }
    try:
        return commanded[given.command](given)
    except InputError as error:
        if given.command in ("new", "record"):
            from rainharvest.rainfall.record import in_words_of

            error = in_words_of(error, command=True)
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        stopped = "run it again to go on" if given.command == "climates" else "nothing was written"
        print(f"stopped; {stopped}", file=sys.stderr)
        return 130


def _study(given: argparse.Namespace) -> int:
    from tqdm import tqdm

    from rainharvest.core.reader import reading
    from rainharvest.sizing.section import tell
    from rainharvest.study.file import reader_of
    from rainharvest.study.run import PROGRESS, write_results
    from rainharvest.study.section import tell_built

    bars: list[tqdm] = []

    def progress(stage: str) -> None:
        if bars:
            bars[0].update(1)
        else:  # only now: a study file that cannot be read gets its line and nothing else
            layout = "{desc:<14} {bar:30} {n}/{total} {elapsed}"
            bars.append(tqdm(total=len(PROGRESS) + 1, bar_format=layout, leave=False))
        bars[0].set_description_str(stage)

    try:
        results = write_results(given.file, given.out, progress=progress, cache=given.cache)
    finally:
        for bar in bars:
            bar.close()
    with reading(reader_of(results.study)):
        tell(results.done)
        tell_built(results)
    print(f"Written to {given.out}: report.html, report.docx, results.nc, trade_off.csv, record.csv")
    return 0


def _record(given: argparse.Namespace) -> int:
    from rainharvest.core.outputs import check_folder
    from rainharvest.rainfall.record import make_record, write_record
    from rainharvest.rainfall.section import record_report
    from rainharvest.study.report import report_page

    check_folder(given.out)
    settings = {"members": given.members, "seed": given.seed, "gaps_end_in_totals": given.gaps_end_in_totals}
    made = make_record(given.files, hints=_hints(given), **settings)
    write_record(made, given.out, report_page(record_report(made)))
    print(made.text)
    return 0


def _hints(given: argparse.Namespace) -> dict[str, object]:
    """Return what settles the doubts that a file leaves."""
    place = {"at": tuple(given.at)} if given.at else {"at": given.site} if given.site else {}
    named = {name: getattr(given, name) for name in ("column", "units", "day_first", "blank_is_zero")} | place
    return {name: value for name, value in named.items() if value is not None}


def _new(given: argparse.Namespace) -> int:
    from rainharvest.study.new import command, left_to_fill_in, new_study

    given.file = str(new_study(given.record, given.out, _hints(given)))
    print(f"Begun: {given.file}. A first run, on the examples in it:", flush=True)
    done = _study(given)
    print("Fill in next, then run it again:", *left_to_fill_in(Path(given.file)), sep="\n  ")
    print(f"  {command(Path(given.file), given.out)}")
    return done


def _ready(given: argparse.Namespace) -> int:
    import io
    from contextlib import redirect_stderr

    from rainharvest.ready import make_ready

    print("Making the workbook ready: the first time on a machine this takes a minute or two.", flush=True)
    with redirect_stderr(io.StringIO()):  # it says of each loop that it is being compiled
        make_ready()
    if given.file:
        from rainharvest.study.panel import study_panel
        from rainharvest.study.run import run_study

        run_study(given.file)
        study_panel(given.file)  # it works the study on a single version of its rain
    return 0


def _sheets(given: argparse.Namespace) -> int:
    from rainharvest.sheets import write_sheets

    names = write_sheets(given.out, given.notebooks)
    print(f"Written to {given.out}: {', '.join(names)}")
    return 0


def _pages(given: argparse.Namespace) -> int:
    from rainharvest.pages import serve_pages

    serve_pages(given.notebooks, given.ip, given.port, given.token)
    return 0


def _climates(given: argparse.Namespace) -> int:
    from rainharvest.climates.command import tell_climates, write_climates

    results = write_climates(
        given.file, given.out, threads=given.threads, cluster=given.cluster, progress=True
    )
    tell_climates(results)
    print(f"Written to {given.out} (Zarr) and beside it the table of the places and, of a grid, a map")
    return 0


if __name__ == "__main__":
    gc.set_threshold(100_000)  # Python looks for what is no longer in use a hundred times less often
    done = main()
    gc.freeze()  # and at the end, where it would take a second, not at all
    sys.exit(done)
