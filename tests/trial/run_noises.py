"""The trial of all noises of the trade: made scenes of every class of sound, counted.

    python tests/trial/run_noises.py                    reported layouts, 416 cases
    python tests/trial/run_noises.py --tuning           the layouts used for choosing settings
    python tests/trial/run_noises.py --per-class N      cases of each class; a third as many
                                                        again in all are healthy
    python tests/trial/run_noises.py --layouts N        only the first so many layouts
    python tests/trial/run_noises.py --cache FOLDER     keep what was heard, a file a case
    python tests/trial/run_noises.py --cases            every case that went wrong, too
    python tests/trial/run_noises.py --picture FILE     reliability picture as well

Reach: at least 400 scenes over random layouts at one or two speeds, automatic gain, codecs.
Class of mechanism right in 90 of 100 cases where the planted sound stands at or above 0 dB
in its band, part or stated group right in 85. Of healthy engines one in a hundred accused
at more than 0.8. A random rattle called an engine's or a shaft's in at most 5 of 100; hiss
and misfire never blamed on a part of the drive. Stated probabilities as true as in
`run_trial.py`.

How a class follows from the tables is in sound_classes.py, how the cases are drawn in
noise_cases.py, how an answer is read in noise_judging.py. The speed is heard from the sound
in every recording. What is kept in FOLDER goes stale when the way of listening or the made
sound changes: delete it then. The match is done anew each time.
"""

from __future__ import annotations

import argparse
import os
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

from noise_cases import NoiseRecipe, noise_recipes
from noise_judging import HeardCase, Outcome, hear_case, judge
from noise_tables import render_cases, render_outcomes
from scenes import REPORTED_LAYOUTS, TUNING_LAYOUTS

PER_CLASS = 24


def heard_of(recipe: NoiseRecipe, kept: Path | None) -> HeardCase:
    """What was heard in one case: as kept, or made and listened to now."""
    path = kept / f"{recipe.name}.pickle" if kept else None
    if path and path.exists():
        return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]  # noqa: S301
    heard = hear_case(recipe)
    if path:
        partly = path.with_suffix(".part")
        partly.write_bytes(pickle.dumps(heard))
        partly.replace(path)
    return heard


def outcome_of(recipe: NoiseRecipe, kept: Path | None) -> Outcome:
    """Hear and judge one case."""
    return judge(heard_of(recipe, kept))


def run(recipes: Sequence[NoiseRecipe], kept: Path | None) -> list[Outcome]:
    """Judge all cases, two at a time."""
    if kept:
        kept.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return list(pool.map(partial(outcome_of, kept=kept), recipes, chunksize=2))


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--per-class", type=int, default=PER_CLASS)
    parser.add_argument("--layouts", type=int, default=0, help="only the first so many")
    parser.add_argument("--cache", type=Path, help="folder to keep what was heard in")
    parser.add_argument("--cases", action="store_true", help="list every case that went wrong")
    parser.add_argument("--picture", type=Path)
    options = parser.parse_args(argv)
    layouts = TUNING_LAYOUTS if options.tuning else REPORTED_LAYOUTS
    layouts = layouts[: options.layouts] if options.layouts else layouts
    outcomes = run(list(noise_recipes(layouts, options.per_class)), options.cache)
    print(render_outcomes(outcomes))
    if options.cases:
        print("\n" + render_cases(outcomes))
    if options.picture:
        _draw(outcomes, options.picture)
    return 0


def _draw(outcomes: Sequence[Outcome], path: Path) -> None:
    """Draw the reliability of cases at one speed and at two."""
    from noise_cases import case_of
    from reliability import write_reliability_picture
    from scoring import Scored

    by_count: dict[int, Scored] = {}
    for count in (1, 2):
        own = [o.score for o in outcomes if len(case_of(o.recipe).settings.conditions) == count]
        by_count[count] = Scored(own, [])
    write_reliability_picture({"all noises": by_count}, path)


if __name__ == "__main__":
    sys.exit(main())
