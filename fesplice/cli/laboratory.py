"""Verbs of the laboratory: logs of a test reduced, a reduction replayed, material tests as values of a specimen."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import SpecimenFile, Units, err, out

TestFolder = Annotated[Path, typer.Argument(help="folder of a reduced test", show_default=False)]


def reduce(
    logs: Annotated[list[Path], typer.Argument(help="logs of one test, as the loggers wrote them", show_default=False)],
    rig: Annotated[Path, typer.Option("--rig", help="rig file (TOML): what each channel reads", show_default=False)],
    specimen: Annotated[Path, typer.Option("--specimen", help="specimen file (TOML)", show_default=False)],
    folder: Annotated[Path, typer.Option("--out", help="folder of the test", show_default=False)],
    run: Annotated[
        Path | None, typer.Option("--run", help="run or prediction to judge channels by", show_default=False)
    ] = None,
    units: Units = "",
) -> None:
    """Reduce the logs of a test: loads, bar stress three ways, bond, events; suspect channels told, none repaired."""
    from fesplice.measured import reduce as reduce_logs
    from fesplice.measured.text import test_text

    if run is None:
        test = reduce_logs(logs, rig, specimen, folder)
    else:
        from fesplice.measured.computed import from_run

        test = reduce_logs(logs, rig, specimen, folder, expect=from_run(run))
    out.print(test_text(test))
    out.print(f"\ntest: {folder}")


def materials(
    specimen: SpecimenFile,
    closure: Annotated[
        Path | None, typer.Option("--closure", help="cylinders of the closure (CSV)", show_default=False)
    ] = None,
    precast: Annotated[
        Path | None, typer.Option("--precast", help="cylinders of the precast halves (CSV)", show_default=False)
    ] = None,
    steel: Annotated[
        list[str] | None, typer.Option("--steel", help="KEY=coupon.csv, once for each coupon", show_default=False)
    ] = None,
) -> None:
    """Print the [as_built] table that material tests give, to paste into the specimen file."""
    from fesplice.measured.materials import built_toml
    from fesplice.specimen import read

    out.print(built_toml(read(specimen), {"closure": closure, "precast": precast}, _coupons(steel or [])))


def _coupons(given: list[str]) -> dict[str, list[Path]]:
    from fesplice.contracts import Fault, InputFault

    found: dict[str, list[Path]] = {}
    for text in given:
        key, mark, name = text.partition("=")
        if not (key and mark and name):
            raise InputFault("materials", [Fault("--steel", text, "KEY=FILE, with the key of a [steel.*] table")])
        found.setdefault(key, []).append(Path(name))
    return found


def replay(test: TestFolder) -> None:
    """Reduce a test again from what its folder keeps. Exit 1 if any file comes out different."""
    from fesplice.measured import replay as replay_test

    different = replay_test(test)
    if different:
        err.print(f"different: {', '.join(different)} (another release wrote them, or they were changed)")
        raise typer.Exit(1)
    out.print(f"{test}: every file comes out the same")


def compare(
    tests: Annotated[list[Path], typer.Argument(help="folders of reduced tests of one specimen", show_default=False)],
    prediction: Annotated[
        Path, typer.Option("--prediction", help="folder of the prediction of that specimen", show_default=False)
    ],
    folder: Annotated[Path, typer.Option("--out", help="folder of the comparison", show_default=False)],
    units: Units = "",
) -> None:
    """Lay tests over the prediction of their specimen: page, figures, ratios, events, which sentences held."""
    from fesplice.cli.console import drawing
    from fesplice.measured.comparison_text import comparison_text
    from fesplice.pipeline.compare import compare as compare_tests

    found = compare_tests(tests, prediction, folder, progress=drawing)
    out.print(comparison_text(found))
    out.print(f"\npage: {folder / 'comparison.html'}")


def learn(
    tests: Annotated[list[Path], typer.Argument(help="folders of reduced tests", show_default=False)],
    file: Annotated[Path, typer.Option("--out", help="file of the model (JSON)", show_default=False)],
    predictions: Annotated[
        list[Path] | None,
        typer.Option("--prediction", help="prediction of a test's specimen, once for each", show_default=False),
    ] = None,
    units: Units = "",
) -> None:
    """Learn from tests how far the coupled views and each formula are off; predict --learned uses it."""
    from fesplice.measured.learning_text import model_text
    from fesplice.pipeline.learn import learn as learn_from

    out.print(model_text(learn_from(tests, file, predictions=predictions or [])))
    out.print(f"\nmodel: {file}")


def watch(
    logs: Annotated[list[Path], typer.Argument(help="log that grows; of several loggers, each", show_default=False)],
    prediction: Annotated[Path, typer.Option("--prediction", help="folder of the prediction", show_default=False)],
    rig: Annotated[Path, typer.Option("--rig", help="rig file (TOML): what each channel reads", show_default=False)],
    page: Annotated[
        int | None, typer.Option("--page", help="also a page on this port, to this machine alone; 0: a free one")
    ] = None,
    quiet: Annotated[
        float | None, typer.Option("--end-after", help="end when no reading has come for so many seconds")
    ] = None,
    units: Units = "",
) -> None:
    """Follow a running test beside its prediction. No safety system: it stops nothing and warns nobody in time."""
    from rich.live import Live as Screen
    from rich.text import Text

    from fesplice.measured.live import NO_SAFETY
    from fesplice.measured.live_text import line, screen, signal_line
    from fesplice.pipeline.watch import Page, follow, looks, there
    from fesplice.units import told

    there(logs)
    live = follow(logs, prediction, rig)
    served = Page(live, page) if page is not None else None
    out.print(NO_SAFETY)
    for doubt in live.doubts:
        out.print(f"rig file: {doubt}")
    if served is not None:
        out.print(f"page: {served.address}")
    heard, last = 0, ""
    try:
        with Screen(console=out, auto_refresh=False, screen=False) as shown:
            for now in looks(live, quiet):
                if served is not None:
                    served.show(now)
                if out.is_terminal:
                    shown.update(Text(told(screen(now, live.specimen.name))), refresh=True)
                elif (text := line(now)) != last:
                    out.print(text)
                    last = text
                for signal in now.signals[heard:]:
                    bell = "\a" if out.is_terminal else ""
                    out.print(f"{bell}SIGNAL {signal_line(signal.text, signal.load, signal.t)}")
                heard = len(now.signals)
    except KeyboardInterrupt:
        err.print("fesplice: stopped; the logs were only read")
        raise typer.Exit(130) from None
    finally:
        if served is not None:
            served.close()
