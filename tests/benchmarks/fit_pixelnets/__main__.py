"""The steps from nothing to two fitted networks; the package's head tells how to call them."""

from __future__ import annotations

import argparse
import json
import math
import os
import tempfile
from pathlib import Path

from tests.benchmarks.fit_pixelnets import grounds, pictures, plans, worlds
from tests.benchmarks.fit_pixelnets.looks import LOOKS
from tests.benchmarks.fit_pixelnets.renderer import load


def world_of(folder: Path) -> Path | None:
    """The world of a set; None for the renderer's own."""
    path = folder / "world.py"
    return path if path.exists() else None


def plan(args: argparse.Namespace) -> None:
    """Write world.py and plan.json of a set."""
    args.set.mkdir(parents=True, exist_ok=True)
    if args.own_world:
        (args.set / "world.py").unlink(missing_ok=True)
    else:
        worlds.write(args.set / "world.py", args.seed if args.world_seed is None else args.world_seed)
    renderer = load(args.renderer, world_of(args.set))
    try:
        n = plans.write(args.set / "plan.json", renderer, args.like, args.seed)
    except RuntimeError as e:
        raise SystemExit(f"No layout is found with this seed ({e}). Take another.") from e
    print(f"{n} photos")


def render(args: argparse.Namespace) -> None:
    """Render photos/ of a set."""
    renderer = load(args.renderer, world_of(args.set))
    grounds.provide(renderer, args.grounds or args.set.parent / "grounds")
    photos = args.set / "photos"
    photos.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as aside:
        renderer.make_set.render(
            argparse.Namespace(
                plan=args.set / "plan.json",
                out=photos,
                spectra=args.spectra.resolve(),
                variant=args.variant,
                spp=args.samples,
                scale=args.scale,
                jobs=args.jobs,
                only=args.only,
                part=None,
                limit=args.limit,
                tmp=aside,
            )
        )


def make_pictures(args: argparse.Namespace) -> None:
    """Make the pictures to train on from a rendered set."""
    args.out.mkdir(parents=True, exist_ok=True)
    photos = json.loads((args.set / "plan.json").read_text("utf-8"))
    world = world_of(args.set)
    found = pictures.make([pictures.Job(p, args.set, world, args.renderer, args.out) for p in photos], args.jobs)
    print(f"pictures of {found} photos; {len(photos) - found} are not rendered")


def train(args: argparse.Namespace) -> None:
    """Train a network (needs the extra `fit`)."""
    from tests.benchmarks.fit_pixelnets.train import Course
    from tests.benchmarks.fit_pixelnets.train import train as fit

    fit(
        LOOKS[args.network], args.pictures, args.out, Course(args.seconds, args.rate, args.batch, args.seed, args.start)
    )


def export(args: argparse.Namespace) -> None:
    """Write a trained network as ONNX (needs the extra `fit`)."""
    import numpy as np

    from tests.benchmarks.fit_pixelnets import onnx_file

    with np.load(args.weights) as weights:
        onnx_file.write(dict(weights), args.out)


def parser() -> argparse.ArgumentParser:
    top = argparse.ArgumentParser(prog="python -m tests.benchmarks.fit_pixelnets", description=__doc__)
    steps = top.add_subparsers(required=True)
    jobs = os.cpu_count() or 1

    on_set = argparse.ArgumentParser(add_help=False)
    on_set.add_argument("set", type=Path, metavar="SET", help="folder of one set")
    on_set.add_argument("--renderer", type=Path, required=True, metavar="FOLDER", help="the scene renderer")

    step = steps.add_parser("plan", parents=[on_set], help=plan.__doc__)
    step.add_argument("--seed", type=int, required=True, help="of the photos, and of the world unless told")
    step.add_argument("--world-seed", type=int, help="of the random world")
    step.add_argument("--own-world", action="store_true", help="the renderer's own world instead of a random one")
    step.add_argument("--like", default=plans.TRAIN, metavar="NAME", help="a set the renderer knows, or %(default)s")
    step.set_defaults(step=plan)

    step = steps.add_parser("render", parents=[on_set], help=render.__doc__)
    step.add_argument("--spectra", type=Path, required=True, metavar="FILE", help="made by the renderer's make_spectra")
    step.add_argument(
        "--grounds", type=Path, metavar="FOLDER", help="where grounds are kept; beside the set if not given"
    )
    step.add_argument("--variant", default="cuda_ad_spectral", help="of Mitsuba (%(default)s)")
    step.add_argument("--samples", type=int, default=64, help="a pixel (%(default)s)")
    step.add_argument("--scale", type=float, default=0.6, help="of the photos' full size (%(default)s)")
    step.add_argument("--only", metavar="NAMES", help="subsets or photos, with commas")
    step.add_argument("--limit", type=float, default=math.inf, metavar="S", help="begin no photo after S seconds")
    step.add_argument("--jobs", type=int, default=jobs)
    step.set_defaults(step=render)

    step = steps.add_parser("pictures", parents=[on_set], help=make_pictures.__doc__)
    step.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    step.add_argument("--jobs", type=int, default=jobs)
    step.set_defaults(step=make_pictures)

    step = steps.add_parser("train", help=train.__doc__)
    step.add_argument("network", choices=LOOKS)
    step.add_argument("pictures", type=Path, nargs="+", metavar="PICTURES", help="folders that `pictures` made")
    step.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    step.add_argument("--seconds", type=float, required=True, help="how long")
    step.add_argument("--rate", type=float, default=2e-3, help="the learning rate's peak (%(default)s)")
    step.add_argument("--batch", type=int, default=24, help="pictures a step (%(default)s)")
    step.add_argument("--seed", type=int, default=0)
    step.add_argument("--start", type=Path, metavar="FILE", help="a .pt file to go on from")
    step.set_defaults(step=train)

    step = steps.add_parser("export", help=export.__doc__)
    step.add_argument("weights", type=Path, metavar="FILE", help="a .npz file that `train` wrote")
    step.add_argument("--out", type=Path, required=True, metavar="FILE")
    step.set_defaults(step=export)
    return top


if __name__ == "__main__":
    given = parser().parse_args()
    try:
        given.step(given)
    except FileNotFoundError as e:
        raise SystemExit(str(e)) from e
    except ModuleNotFoundError as e:
        raise SystemExit(f"{e}. Training needs the extra `fit`, rendering what the renderer's README tells.") from e
