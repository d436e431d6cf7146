"""Run the benchmarks: `python -m benchmarks [NAME …] [--episodes N]`.

Each `bench_NAME.py` has `main(episodes: int | None)`, which prints its lines; None
stands for the size that the benchmark was made for.
"""

import argparse
import importlib
import os
import platform
from pathlib import Path


def names() -> list[str]:
    """Return the benchmarks there are, by name."""
    found = Path(__file__).parent.glob("bench_*.py")
    return sorted(path.stem.removeprefix("bench_") for path in found)


def main() -> None:
    """Run those named on the command line, or all."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("name", nargs="*", choices=[*names(), []], help="which; all unless named")
    parser.add_argument("--episodes", type=int, default=None, help="smaller or larger than usual")
    asked = parser.parse_args()
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores", flush=True)
    for name in asked.name or names():
        print(f"\n{name}", flush=True)
        importlib.import_module(f"benchmarks.bench_{name}").main(asked.episodes)


if __name__ == "__main__":
    main()
