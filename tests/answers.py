#!/usr/bin/env python3
"""Keeps what every command answers, so that two builds can be held against each other.

    tests/answers.py keep BIN DIR         runs everything with BIN, keeps it in DIR
    tests/answers.py compare DIR DIR      says what differs; exit status 1 where anything does

Kept of each step: exit status, both streams, and every file as it is after the last step. Times of day and dates are those of
the run, so they are blotted out, and so are identities, which have them in it, and the commit in the program's version. Files
are kept by their digest; a bitmap is its SVG's twin, and only its being there counts.
"""
import hashlib, os, re, shutil, subprocess, sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SIM = "r=6k l=2.4H cs=120p noise=-80dBFS"
RIG = """name = "north bench"
[exciter]
reference = "current"
series_ohm = 123.8
inductance_h = 217e-6
sense_ohm = 22.0
[input]
resistance_ohm = 1e6
capacitance_f = 60e-12
lead_capacitance_f = 90e-12
[witness]
name = "tin one"
[pack]
exciter = "150 turns"
"""
SHORT = ["--source", "sim", "--rate", "48k", "--seconds", "0.7"]

def measure(name, sim=SIM, *more):
    return ["measure", "--pickup", name, "--sim", sim, *SHORT, *more]

def steps():
    """(arguments, what is typed)"""
    plain = lambda *a: (list(a), "")
    commands = "demo devices drive use measure analyze compare loads coil potting note standard tray rig".split()
    for c in [[], *[[c] for c in commands], *[["rig", c] for c in "new level inputs show check repeat polarity pack".split()]]:
        yield plain(*c, "--help")
    yield plain("--version")
    yield plain("no-such")
    yield plain("demo", "--out", "demo")
    yield plain("drive", "--seconds", "0.7", "--out", "sweep.wav")
    yield plain("drive", "--shape", "noise", "--seconds", "0.7", "--out", "noise.wav", "--json")
    yield plain("use")
    yield plain("use", "--rig", "north.toml", "--room", "21C", "--columns", "ohms by meter A", "--folder", "takes")
    yield plain("use", "--json")
    os.mkdir("takes")
    for i in range(3):
        yield measure("neck-7", SIM, "--ohms", "6.05k", "--seed", str(i + 1), "--over", "first coil"), ""
    yield measure("neck-8", "r=6k l=2.5H cs=120p noise=-80dBFS", "--seed", "4", "--json"), ""
    yield measure("neck-9", SIM, "--repeats", "3", "--knock", "4", "--details"), ""
    yield measure("one", SIM, "--channels", "pickup=1"), ""
    yield measure("steel", SIM + " eddy=k=0.4,tau=33u"), ""
    yield measure("open", "open"), ""
    yield measure("hum", SIM + " hum=-20dB"), ""
    yield measure("dark", SIM, "--load", "vol=250k tone=250k+22n@0 cable=5m@100p/m amp=50k"), ""
    yield measure("loaded", SIM, "--load", "cap=470p", "--out", "loaded"), ""
    yield measure("loaded", SIM, "--load", "cap=1n", "--out", "loaded-2"), ""
    yield plain("analyze", "takes/neck-7/0001/take.wav", "--details")
    yield plain("analyze", "takes/neck-7/0001/take.wav", "takes/steel/0001/take.wav", "takes/one/0001/take.wav", "--json", "--out", "again")
    yield plain("analyze", "takes/one/0001/take.wav", "--drive", "takes/one/0001/drive.wav", "--channels", "pickup=1", "--out", "one-again")
    for lost in ("record.json", "response.svg", "response.png"):
        os.remove(f"takes/neck-9/0001/{lost}")
    yield plain("analyze", "takes/neck-9")
    yield plain("compare", "takes/neck-7/0001", "takes/neck-7/0002", "takes/neck-8/0001", "--out", "cmp")
    yield plain("compare", "takes/neck-7/0001", "takes/neck-8/0001", "--json")
    yield plain("compare", "loaded", "loaded-2", "takes/neck-7/0001", "--by-load", "--details")
    yield plain("coil", "loaded", "loaded-2", "--ohms", "6.05k", "--room", "21C", "--out", "coil.toml")
    yield plain("coil", "loaded", "loaded-2", "--ohms", "6.05k", "--json", "--tolerance", "cap=1% input=5%")
    yield plain("loads", "--coil", "coil.toml", "--load", "vol=250k tone=250k+22n cable=5m@100p/m amp=1M", "--load", "none", "--out", "loads")
    yield plain("loads", "--coil", "coil.toml", "--load", "one-pickup", "--vary", "cable=1m...10m", "--json")
    yield plain("loads", "--coil", "coil.toml", "--load", "vol=250k", "--against", "loaded")
    yield plain("loads", "--list")
    yield plain("note", "takes/neck-7/0001", "--text", "rewound", "--ohms", "6.06k by meter A")
    yield plain("note", "takes/neck-7/0001")
    yield plain("note", "takes/neck-7/0001", "--json")
    yield plain("rig", "show", "north.toml")
    yield plain("rig", "show", "north.toml", "--json")
    yield plain("rig", "pack", "north.toml")
    for i in range(22):
        yield ["rig", "check", "--rig", "north.toml", "--sim", SIM, *SHORT, "--seed", str(100 + i), "--out", f"w{i}"], ""
    yield ["rig", "check", "--rig", "north.toml", "--sim", SIM.replace("120p", "160p"), *SHORT, "--seed", "200", "--json"], ""
    yield plain("rig", "show", "north.toml")
    yield plain("rig", "repeat", "--rig", "north.toml", "takes/neck-7/0001", "takes/neck-7/0002", "takes/neck-7/0003")
    yield plain("rig", "polarity", "takes/neck-7/0001", "--is", "+1")
    yield plain("rig", "new", "south.toml", "--source", "sim", "--reference", "current", "--series", "123.8", "--inductance", "217u")
    yield plain("rig", "level", "--rig", "south.toml", "--source", "sim", "--limit", "-48dBFS")
    yield plain("rig", "inputs", "--rig", "south.toml", "--source", "sim", "--sim", "wire")
    yield plain("standard", "takes/neck-7/0001", "takes/neck-7/0002", "--allow", "f0=2% q=8%", "--out", "neck.toml")
    yield plain("standard", "takes/neck-7/0001", "--json", "--allow", "f0=2% q=8% level=2dB", "--out", "neck-2.toml")
    sims = [SIM, "r=6k l=2.4H cs=400p noise=-80dBFS", "open", SIM, "r=5.5k l=2.2H cs=120p noise=-80dBFS"]
    Path("lot.txt").write_text("\n".join(sims) + "\n")
    tray = ["tray", "--lot", "neck-12", "--standard", "neck.toml", "--sim", "lot.txt", *SHORT, "--load", "none"]
    yield tray, "\n6.05k\nn good\n\n\ns\n\n6.1k\nr\n\n\n5.5k\nu\nq\n"
    yield tray + ["--json"], "q\n"
    yield plain("potting", "takes/neck-7/0001", "--after", "takes/neck-7/0002", "--rig", "north.toml", "--rested", "14h")
    yield plain("potting", "takes/neck-7/0001", "takes/neck-8/0001", "--after", "takes/neck-7/0003", "--rig", "north.toml", "--json", "--rested", "14h")
    for bad in (["compare", "nowhere"], ["analyze", "north.toml"], ["loads", "--load", "vol=250x"], ["tray", "--lot", "x", "--standard", "north.toml"],
                ["measure", "--pickup", "a", "--source", "nothing"], ["rig", "check", "--rig", "none.toml"], ["potting", "loaded"]):
        yield bad, ""
    for f in sorted((ROOT / "fixtures").glob("records/*/record.json")):
        yield plain("compare", str(f), str(f))

def blotted(text, place):
    text = text.replace(str(place), "HERE").replace(str(ROOT), "ROOT")
    text = re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?([+-]\d\d:\d\d|Z)?", "TIME", text)
    text = re.sub(r"20\d\d-\d\d-\d\d( \d\d:\d\d)?", "DATE", text)
    # A record's identity has its time in it.
    text = re.sub(r"(\d\.\d\.\d)\+[0-9a-f]{10}\b", r"\1", text)
    return re.sub(r"\b[0-9a-f]{16}\b", "ID", text)

def keep(binary, out):
    out = Path(out).resolve()
    binary = str(Path(binary).resolve())
    work = out / "work"
    shutil.rmtree(out, ignore_errors=True)
    work.mkdir(parents=True)
    os.chdir(work)
    Path("north.toml").write_text(RIG)
    env = {"PATH": "/usr/bin:/bin", "TZ": "UTC", "HOME": str(work)}
    log = []
    for args, typed in steps():
        run = subprocess.run([binary, *args], input=typed.encode(), capture_output=True, env=env)
        said = [blotted(s.decode(errors="replace"), work) for s in (run.stdout, run.stderr)]
        log.append(f"$ coilwright {' '.join(args)}\nstatus {run.returncode}\n{said[0]}--- err\n{said[1]}\n")
    (out / "answers.txt").write_text("\n".join(log))
    files = []
    for path in sorted(p for p in work.rglob("*") if p.is_file()):
        data = path.read_bytes()
        if path.suffix in (".json", ".toml", ".md", ".html", ".lib", ".cir", ".txt"):
            data = blotted(data.decode(errors="replace"), work).encode()
        elif path.suffix == ".svg":
            data = blotted(data.decode(errors="replace"), work).encode()
        elif path.suffix == ".png":
            # Drawn as its SVG is, dates and all.
            data = b"picture"
        files.append(f"{hashlib.sha256(data).hexdigest()[:16]} {path.relative_to(work)}")
    (out / "files.txt").write_text("\n".join(files) + "\n")
    print(f"{len(log)} answers, {len(files)} files")

def compare(a, b):
    return subprocess.run(["diff", "-r", "-U2", "-x", "work", a, b]).returncode

if __name__ == "__main__":
    if sys.argv[1:2] == ["keep"] and len(sys.argv) == 4:
        keep(*sys.argv[2:])
    elif sys.argv[1:2] == ["compare"] and len(sys.argv) == 4:
        sys.exit(compare(*sys.argv[2:]))
    else:
        sys.exit(__doc__)
