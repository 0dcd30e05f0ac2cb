#!/usr/bin/env python3
"""`coilwright analyze` against the same estimate by numpy and scipy (baseline.py) and against reading and transforming alone.

    compare.py                       builds the release binary, makes a take, measures
    compare.py --runs 15
    compare.py --bin target/release/coilwright --floor PATH      with what is there; PATH is the built bench `speed`

Whole processes, one after the other on one processor, in turns, so that whatever else the machine does falls on all of them
alike. Medians. Milliseconds are this machine's; only the ratios travel. Nothing here passes or fails by time; the exit status
is 1 only if the numbers disagree.
"""
import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ONE_THREAD = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL", "NUMEXPR", "RAYON")}
AGREE = 0.25                            # in standard uncertainties
COIL, LOAD = "r=7.2k l=3.1H cs=110p", "res=250k cap=450p amp=1M"
METAL = "eddy=k=0.6,tau=40u,emf=0.5,a=6"


def build():
    """Paths of the release binary and of the bench program."""
    command = ["cargo", "build", "--release", "--locked", "--bin", "coilwright", "--bench", "speed", "--message-format=json"]
    out = subprocess.run(command, cwd=HERE.parent.parent, stdout=subprocess.PIPE, check=True, text=True).stdout
    made = {}
    for line in out.splitlines():
        message = json.loads(line)
        if message.get("reason") == "compiler-artifact" and message.get("executable"):
            made[message["target"]["name"]] = message["executable"]
    return made["coilwright"], made["speed"]


def timed(command, out):
    """Processor and elapsed time of one process in milliseconds, its peak memory in MB."""
    with open(out, "w") as file, open(f"{out}.err", "w") as err:
        begun = time.perf_counter()
        child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=file, stderr=err)
        _, status, used = os.wait4(child.pid, 0)
        elapsed = time.perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{command}: status {child.returncode}\n{Path(f'{out}.err').read_text()}")
    return 1e3 * (used.ru_utime + used.ru_stime), 1e3 * elapsed, used.ru_maxrss / 1e3


def make(binary, place, name, words, more):
    """A take of the built-in bench and its drive, away from the record, which would otherwise be read as well."""
    made = f"{place}/{name}"
    load = ["--load", LOAD, "--seconds", "4", "--rate", "96k", "--out", made]
    subprocess.run([binary, "measure", "--pickup", "bench", "--source", "sim", "--sim", words, *load, *more], check=True, stdout=subprocess.DEVNULL)
    for file in ("take", "drive"):
        os.rename(f"{made}/{file}.wav", f"{place}/{name}-{file}.wav")
    return f"{place}/{name}-take.wav", f"{place}/{name}-drive.wav"


def measured(lots, runs, place):
    """Medians of processor and elapsed time and of memory, all lots in turns."""
    seen = {name: [] for name in lots}
    # The first round warms the disk's caches and does not count.
    for n in range(runs + 1):
        for name, command in lots.items():
            figures = timed(command, f"{place}/{name}.out")
            if n:
                seen[name].append(figures)
    return ({k: statistics.median(f[i] for f in v) for k, v in seen.items()} for i in range(3))


def compared(words, take, given, args, place):
    """Prints one table; how far the numbers are apart, in standard uncertainties."""
    python = [sys.executable, str(HERE / "baseline.py")]
    cpu, wall, memory = measured(
        {
            "coilwright": [args.bin, "analyze", take, *given, "--json"],
            "baseline": [*python, take, *given],
            "tuned": [*python, "--tuned", take, *given],
            "floor": [args.floor, "floor", take],
            "imports": python,
            "nothing": [args.bin, "--version"],
        },
        args.runs,
        place,
    )
    print(f"{words + f', medians of {args.runs} runs in turns, one processor':<64}processor   elapsed     memory")
    for name, what in {
        "coilwright": "coilwright analyze --json, whole process",
        "baseline": "numpy and scipy (baseline.py), whole process",
        "tuned": "the same with derivatives written out (--tuned)",
        "imports": "  of that the interpreter and the imports alone",
        "floor": "reading the file and transforming, whole process",
        "nothing": "coilwright --version, whole process",
    }.items():
        print(f"{what:<64}{cpu[name]:8.1f} ms {wall[name]:6.0f} ms {memory[name]:7.0f} MB")
    print()
    work = (cpu["baseline"] - cpu["imports"]) / (cpu["coilwright"] - cpu["nothing"])
    for what, ratio in (
        ("baseline over coilwright, whole processes, processor time", cpu["baseline"] / cpu["coilwright"]),
        ("baseline over coilwright, whole processes, elapsed time", wall["baseline"] / wall["coilwright"]),
        ("with derivatives written out over coilwright, processor time", cpu["tuned"] / cpu["coilwright"]),
        ("baseline less what either takes to start (processor time)", work),
        ("coilwright over reading and transforming, processor time", cpu["coilwright"] / cpu["floor"]),
    ):
        print(f"{what:<64}{ratio:8.1f}")
    print("(besides the estimate coilwright looks for faults, and makes curve and record)\n")
    ours = json.loads(Path(f"{place}/coilwright.out").read_text())
    theirs = json.loads(Path(f"{place}/baseline.out").read_text())
    apart = 0.0
    for key, unit in (("f0_hz", " Hz"), ("q", "")):
        a, b = ours["resonance"][key], theirs[key]
        off = (b["value"] - a["value"]) / a["u"]
        apart = max(apart, abs(off))
        print(f"{key:<6} coilwright {a['value']:.6f} u {a['u']:.2g}{unit}, baseline {b['value']:.6f} u {b['u']:.2g}{unit}: {off:+.3f} u apart")
    print()
    return apart


def more(args, place):
    """Prints what the second way, metal and a long latency take besides, as ratios to an air coil's take of two channels read one way."""
    rig = f"{place}/rig.toml"
    stated = ["--reference", "voltage", "--series", "100", "--inductance", "0.5mH"]
    subprocess.run([args.bin, "rig", "new", rig, "--source", "sim", *stated], check=True, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    known = ["--rig", rig]
    lots = {}
    for name, words in (("air", COIL), ("metal", f"{COIL} {METAL}")):
        take, drive = make(args.bin, place, f"more-{name}", words, known)
        read = [args.bin, "analyze", take, *known, "--json"]
        lots[f"two channels, {name}"] = read
        lots[f"two channels, {name}, both ways"] = [*read, "--drive", drive]
    take, drive = make(args.bin, place, "more-late", f"{COIL} ppm=100 latency=0.9s", ["--channels", "pickup=1"])
    lots["one channel, 0.9 s and 100 ppm late"] = [args.bin, "analyze", take, "--drive", drive, "--json"]
    cpu, wall, memory = measured(lots, args.runs, place)
    first = next(iter(lots))
    print(f"{'What more takes':<40}processor   elapsed     memory   over the first")
    for name in lots:
        print(f"{name:<40}{cpu[name]:6.1f} ms {wall[name]:6.0f} ms {memory[name]:7.0f} MB {cpu[name] / cpu[first]:16.2f}")


def main():
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--bin", help="the program; left out: built")
    args.add_argument("--floor", help="the bench program `speed`; left out: built")
    args.add_argument("--take", help="a take; left out: one of two channels and one of one, made by the built-in bench, 4 s at 96 kHz")
    args.add_argument("--drive", help="what was played, where the take has one channel")
    args.add_argument("--runs", type=int, default=9)
    args = args.parse_args()
    if not (args.bin and args.floor):
        args.bin, args.floor = build()
    os.environ.update(ONE_THREAD)
    with tempfile.TemporaryDirectory() as place:
        if args.take:
            ways = [("as given", args.take, ["--drive", args.drive] if args.drive else [])]
        else:
            two, _ = make(args.bin, place, "two", COIL, [])
            one, drive = make(args.bin, place, "one", f"{COIL} ppm=100", ["--channels", "pickup=1"])
            ways = [("two channels", two, []), ("one channel, clocks 100 ppm apart", one, ["--drive", drive])]
        # One processor for all that follows, children included.
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
        apart = [compared(words, take, given, args, place) for words, take, given in ways]
        if not args.take:
            more(args, place)
    if not all(a < AGREE for a in apart):
        sys.exit(f"the numbers are more than {AGREE} u apart: this compares two different things")


if __name__ == "__main__":
    main()
