"""Incidence of reasons and models from the store, against the peers that give errors.

Peers: R survival and R cmprsk (where `Rscript` is installed), lifelines, and
scikit-survival (here, or in the interpreter that BENCH_PYTHON names). A peer that is
not there is skipped and said; one that takes longer than the limit (BENCH_LIMIT_S) is
stopped, and its ratio is at least what was waited. R cmprsk's errors are not clustered
on the child, so they differ from ours. Everything runs in a process of its own with one
thread for matrices, the same for all; peers are timed without reading their data.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from benchmarks.removal_store import CHUNK, design_columns, draw, fill

EPISODES = 1_000_000
COMPARED = 5_000  # for agreement of the models
COX_PEERS = ("survival_cox", "lifelines_cox")
FINE_GRAY_PEERS = ("survival_finegray", "cmprsk_finegray")
LARGER = 10  # times as many, for the cost beyond the store's own pass
LIMIT_S = int(os.environ.get("BENCH_LIMIT_S", "150"))
HERE = Path(__file__).parent
ONE_THREAD = {f"{name}_NUM_THREADS": "1" for name in ("OPENBLAS", "OMP", "MKL")}


def main(episodes: int | None) -> None:
    """Print seconds and ratios."""
    n = episodes or EPISODES
    print(f"{n:,} episodes, 0.25 h grid, six reasons, twelve sites")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        fill(folder / "store.duckdb", n)
        _write_columns(folder, min(n, CHUNK))
        _incidence(folder)
        _models(folder, n)
        _larger(folder, n * LARGER)
    with tempfile.TemporaryDirectory() as place:
        folder, few = Path(place), min(n, COMPARED)
        print(f"\nthe models of {few:,} episodes, on which every peer comes to an end:")
        fill(folder / "store.duckdb", few)
        _write_columns(folder, few)
        _models(folder, few)


def _models(folder: Path, n: int) -> None:
    _model(folder, "cox", "Cox, 17 columns, Efron, clustered errors", COX_PEERS, n)
    _model(folder, "finegray", "Fine-Gray, 17 columns, clustered errors", FINE_GRAY_PEERS, n)


def _write_columns(folder: Path, n: int) -> None:
    """Write what the peers read: the episodes of the store as raw doubles."""
    drawn = draw(n, 0)
    table = design_columns(drawn).with_columns(site=drawn["site"])
    (folder / "names.txt").write_text("\n".join(table.columns))
    np.ascontiguousarray(table.cast(pl.Float64).to_numpy().T).tofile(folder / "columns.bin")


def _own(what: str, store: Path) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.removal_own", what, str(store)],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | ONE_THREAD,
        cwd=HERE.parent,
    )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _incidence(folder: Path) -> None:
    own = _own("incidence", folder / "store.duckdb")
    print(
        f"\nincidence of six reasons with errors, from the store: {own['whole']:.3f} s"
        f" (the store's own pass {own['pass']:.3f} s, the estimator {own['estimator']:.4f} s);"
        f" by twelve sites {own['by_site']:.3f} s"
    )
    for peer in ("survival", "cmprsk", "lifelines", "sksurv"):
        found = _peer(f"{peer}_incidence", folder)
        _say(f"{peer}_incidence", found, own["whole"])
        if found and "se" in found:
            for what in ("incidence", "se"):
                ours = np.array(own[what]).T.ravel()  # R lists hour within reason
                difference = np.max(np.abs(ours - np.array(found[what])))
                print(f"    largest difference in {what}: {difference:.1e}")
    _say("survival_by_site", _peer("survival_by_site", folder), own["by_site"])


def _model(folder: Path, what: str, title: str, peers: tuple[str, ...], n: int) -> None:
    own = _own(what, folder / "store.duckdb")
    whole = own["reduce"] + own["build"] + own["fit"]
    print(
        f"\n{title}: {whole:.2f} s (reduced in the store {own['reduce']:.2f}, arranged"
        f" {own['build']:.2f}, fitted {own['fit']:.2f})"
    )
    for peer in peers:
        found = _peer(peer, folder)
        _say(peer, found, whole)
        _say(f"{peer}, the fit alone", found, own["fit"])
        if found and found.get("coefficients") and n <= CHUNK:
            _say_agreement(own, found)


def _say_agreement(own: dict[str, Any], found: dict[str, Any]) -> None:
    """Compare coefficients by name: the peers' columns are in another order."""
    order = np.argsort(_own_names(own), kind="stable")
    peers = np.argsort(_peer_names(), kind="stable")
    for what in ("coefficients", "se"):
        if what in found:
            ours, theirs = np.array(own[what])[order], np.array(found[what])[peers]
            print(f"    largest difference in {what}: {np.max(np.abs(ours - theirs)):.1e}")


def _own_names(own: dict[str, Any]) -> list[str]:
    plain = {"age_years", "skin_glue", "tunnelled", "interpreter_needed"}
    return [
        term if term in plain else f"{term}_{label}" if term == "limb" else label
        for term, label in zip(own["terms"], own["labels"], strict=True)
    ]


def _peer_names() -> list[str]:
    names = design_columns(draw(1000, 0)).columns
    return [name for name in names if name not in {"hours", "why", "child"}]


def _peer(name: str, folder: Path) -> dict[str, Any] | None:
    """Run a peer; None where it is not installed, empty where it was stopped or failed."""
    command = _command(name)
    if command is None:
        return None
    try:
        done = subprocess.run(
            [*command, name, str(folder)],
            capture_output=True,
            text=True,
            timeout=LIMIT_S,
            check=False,
            env=os.environ | ONE_THREAD,
        )
    except subprocess.TimeoutExpired:
        return {}
    if done.returncode:
        return None if "No module named" in done.stderr else {"failed": done.stderr[-200:]}
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def _command(name: str) -> list[str] | None:
    if name.startswith(("survival", "cmprsk")):
        program = shutil.which("Rscript")
        return [program, str(HERE / "removal_peers.R")] if program else None
    python = os.environ.get("BENCH_PYTHON") if name.startswith("sksurv") else None
    return [python or sys.executable, str(HERE / "removal_peers.py")]


def _say(name: str, found: dict[str, Any] | None, own: float) -> None:
    if found is None:
        print(f"  {name:32} not installed, skipped")
    elif "failed" in found:
        print(f"  {name:32} failed: {' '.join(found['failed'].split())[-120:]}")
    elif "seconds" not in found:
        print(f"  {name:32} stopped after {LIMIT_S} s: at least {LIMIT_S / own:.0f} times ours")
    else:
        print(f"  {name:32} {found['seconds']:8.2f} s: {found['seconds'] / own:.1f} times ours")


def _larger(folder: Path, n: int) -> None:
    """The same from ten times the episodes: what is added to the store's pass."""
    (folder / "store.duckdb").unlink()
    fill(folder / "larger.duckdb", n)
    own = _own("incidence", folder / "larger.duckdb")
    print(
        f"\n{n:,} episodes: {own['whole']:.3f} s, the store's own pass {own['pass']:.3f} s,"
        f" the estimator {own['estimator']:.4f} s; by twelve sites {own['by_site']:.3f} s"
    )
