"""A controller written apart: it reads a scan program, sees some moves ahead, and is fed over a link.

Nothing here is the tool's. Words act in the order of NISTIR 6556 (3.8). Motion is that of straight moves with a constant
acceleration: v² changes by 2 a L over a way L. That a controller passes a joint in a straight line at the slower of
both feeds, and no faster than lets it stop within the moves that it holds, is common practice and in no standard.

Run by hand it prints how long the samples take on two machines, at one speed along each line and with gaps hurried
across: the table of gaps.md.

    python tests/outside/look_ahead.py target/release/dotwright
    python tests/outside/look_ahead.py target/release/dotwright PHOTO ...

With photos it prints what fewer lines bring instead: time and likeness with dots on all lines, by default, and at the
quickest.
"""
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field


@dataclass
class Machine:
    """A machine's numbers along x and y, mm/s and mm/s²; bytes a second of the link (None: no link)."""
    acceleration: tuple = (500.0, 500.0)
    top: tuple = (100.0, 100.0)
    rapid: tuple = (100.0, 100.0)
    ahead: int = 15
    link: float | None = 11520.0
    store: float = 128.0
    lag: float = 0.0


@dataclass
class Move:
    """A straight move: start, end, feed, S while the beam is on, and the bytes of the program up to its end."""
    a: tuple
    b: tuple
    rapid: bool
    feed: float
    power: float
    bytes: int
    stop: bool = False
    length: float = 0.0
    way: tuple = (0.0, 0.0)
    # Filled in by the controller: when it starts, how long it takes, its speeds at both ends and at its fastest.
    start: float = 0.0
    seconds: float = 0.0
    speeds: tuple = (0.0, 0.0, 0.0)


WORD = re.compile(r"([A-Z])(-?[\d.]+)")


def read(text):
    """The moves of a program; `stop` where the beam is switched before it."""
    at, feed, power, on, rapid, stop, size, moves = (0.0, 0.0), 0.0, 0.0, False, True, True, 0, []
    for line in text.splitlines():
        size += len(line) + 1
        words = WORD.findall(re.sub(r"\([^)]*\)", "", line) if "(" in line else line)
        values = {letter: float(number) for letter, number in words}
        feed, power = values.get("F", feed), values.get("S", power)
        # A line may have several words of these two letters.
        for letter, number in words if "M" in values or "G" in values else []:
            if letter == "M":
                on, stop = float(number) in (3, 4), True
            elif letter == "G":
                rapid = {0.0: True, 1.0: False}.get(float(number), rapid)
        if "X" in values or "Y" in values:
            to = (values.get("X", at[0]), values.get("Y", at[1]))
            length = math.dist(at, to)
            if length > 0:
                way = tuple((q - p) / length for p, q in zip(at, to))
                moves.append(Move(at, to, rapid, feed / 60, power if on else 0.0, size, stop, length, way))
                stop = False
            at = to
    return moves


def limits(move, machine):
    """The acceleration and the highest speed of a move: neither asks more of an axis than it can do of its share."""
    shares = [(i, abs(move.way[i])) for i in (0, 1) if abs(move.way[i]) > 1e-9]
    a = min(machine.acceleration[i] / share for i, share in shares)
    fastest = min((machine.rapid if move.rapid else machine.top)[i] / share for i, share in shares)
    return a, fastest if move.rapid else min(move.feed, fastest)


def straight_on(a, b):
    """Whether a controller need not stop between two moves."""
    return (not b.stop and not a.rapid and not b.rapid
            and abs(a.way[0] - b.way[0]) < 1e-6 and abs(a.way[1] - b.way[1]) < 1e-6)


@dataclass
class Ride:
    """What a ride through a program came to."""
    seconds: float = 0.0
    dry: int = 0
    off: list = field(default_factory=list)


def ride(moves, machine):
    """Runs the moves one after the other. Until the head must begin to brake for the end of a move, the controller plans
    with what it holds: the moves that the link has brought by then, at most `ahead` of them beyond the one it runs, and
    a stop behind the last of them. `dry` counts the moves that end slower because the link was late."""
    n, count = machine.ahead, len(moves)
    # Nearly all moves go one of a few ways at one of a few feeds.
    alike = {(move.way, move.rapid, move.feed): move for move in moves}
    paces = {key: limits(move, machine) for key, move in alike.items()}
    pace = [paces[move.way, move.rapid, move.feed] for move in moves]
    joint = [min(pace[k][1], pace[k + 1][1]) ** 2 if straight_on(moves[k], moves[k + 1]) else 0.0
             for k in range(count - 1)] + [0.0]
    twice = [2 * pace[k][0] * moves[k].length for k in range(count)]
    arrived, heard, begun = [0.0] * count, [0.0] * count, [0.0] * count
    planned = 0  # moves of which all came before the store had room for the one that is looked at

    def arrive(k):
        """When move k gets into the planner: its bytes have come, and there is room for it."""
        nonlocal planned
        room = begun[k - n] if k >= n else 0.0
        if machine.link is None:
            return room
        # The sender waits while the store of bytes that are not yet planned is full.
        while planned < k and moves[planned].bytes <= moves[k].bytes - machine.store:
            planned += 1
        wait = max(heard[k - 1] if k else 0.0, arrived[planned - 1] if planned else 0.0)
        heard[k] = wait + (moves[k].bytes - (moves[k - 1].bytes if k else 0)) / machine.link
        return max(heard[k], room)

    def end_square(i, last):
        """The square of the fastest end of move i that lets the head stop by the end of move `last`."""
        square, brakes = math.inf, 0.0
        for k in range(i + 1, last + 1):
            square = min(square, joint[k - 1] + brakes)
            brakes += twice[k]
            if brakes >= square:
                return square
        return min(square, brakes)

    time, speed, dry, known = 0.0, 0.0, 0, 0
    for i, move in enumerate(moves):
        while known < min(i + n, count):
            arrived[known] = arrive(known)
            known += 1
        time = begun[i] = max(time, arrived[i])
        if known < min(i + n + 1, count):
            arrived[known] = arrive(known)
            known += 1
        a, nominal = pace[i]
        brakes = time + max(move.length - nominal ** 2 / (2 * a), 0.0) / nominal
        seen = min(i + n, count - 1)
        here = seen
        while here > i and arrived[here] > brakes:
            here -= 1
        reach = speed ** 2 + twice[i]
        end = min(end_square(i, seen), reach)
        if here < seen:
            late = min(end_square(i, here), reach)
            dry += late < 0.98 * end
            end = late
        peak = max(min(nominal ** 2, (speed ** 2 + end + twice[i]) / 2), speed ** 2, end)
        level = move.length - (2 * peak - speed ** 2 - end) / (2 * a)
        v, out = math.sqrt(peak), math.sqrt(end)
        move.start, move.speeds = time, (speed, v, out)
        move.seconds = (2 * v - speed - out) / a + max(level, 0.0) / v
        time += move.seconds
        speed = out
    return Ride(seconds=time, dry=dry, off=off_speed(moves, machine, pace))


def speed_in(move, x, a):
    """The speed x mm into a move."""
    start, peak, end = move.speeds
    return min(peak, math.sqrt(max(start ** 2 + 2 * a * x, 0.0)),
               math.sqrt(max(end ** 2 + 2 * a * (move.length - x), 0.0)))


def off_speed(moves, machine, pace, samples=16):
    """Where the beam is on at another speed than the move's own: (place in the program, mm). A late beam goes on and
    off further along: places are shifted by lag times speed, and the speed is that of wherever the head then is."""
    found = []

    def place(k, x):
        """The move on which the head is x mm from the start of move k, how far into it, and whether the way leads there."""
        while x > moves[k].length and k + 1 < len(moves) and straight_on(moves[k], moves[k + 1]):
            x, k = x - moves[k].length, k + 1
        while x < 0 and k > 0 and straight_on(moves[k - 1], moves[k]):
            k -= 1
            x += moves[k].length
        return k, x, -1e-9 <= x <= moves[k].length + 1e-9

    def wrong(v, wanted):
        return abs(v - wanted) > 0.0101 * wanted

    for i, move in enumerate(moves):
        if move.power <= 0:
            continue
        wanted = min(move.feed, pace[i][1])
        shift = machine.lag * move.feed
        at = [(s + 0.5) / samples * move.length + shift for s in range(samples)]
        (first, _, begins), (last, _, ends) = place(i, at[0]), place(i, at[-1])
        # A move is nowhere slower than at its slower end nor faster than at its fastest: where these are right, all of it is.
        if begins and ends and not any(wrong(v, wanted) for m in moves[first:last + 1] for v in m.speeds):
            continue
        places = [place(i, x) for x in at]
        off = sum(wrong(speed_in(moves[k], x, pace[k][0]) if inside else 0.0, wanted) for k, x, inside in places)
        if off:
            found.append((move.bytes, off / samples * move.length))
    return found


TOML = """name = "{name}"
[laser]
power = "5W"
wavelength_nm = 450
beam_along = "0.12mm"
beam_across = "0.12mm"
[motion]
bed = "400x400mm"
steps_per_mm_x = 80
steps_per_mm_y = 80
acceleration_mm_per_s2 = {a}
top_speed = "100mm/s"
rapid_speed = "100mm/s"
[program]
full_scale_s = 1000
power_mode = "constant"
link_bytes_per_s = 11520
plans_ahead = {ahead}
"""

# The same dots on both machines: on all lines.
PIECES = [("harbour.jpg", ["--place", "cover", "--time", "100%"]), ("harbour.jpg", ["--place", "cover", "--screen", "floyd-steinberg"]),
          ("emblem.svg", []), ("name-tag.svg", [])]


def measure(program, folder):
    """How long the samples take at one speed along each line and with gaps hurried across: rows for gaps.md."""
    samples = pathlib.Path(__file__).resolve().parents[2] / "samples"
    for a in (500, 2000):
        for art, options in PIECES:
            seconds, dots, rides = {}, {}, {}
            for ahead in (0, 15):
                machine, out = folder / f"{a}-{ahead}.toml", folder / f"{a}-{ahead}-{art}-{len(options)}"
                machine.write_text(TOML.format(name="bench", a=a, ahead=ahead))
                subprocess.run([program, "prepare", str(samples / art), "--blank", "round:90mm", "--machine", str(machine),
                                "--out", str(out), "--replace", *options], check=True, capture_output=True)
                times = json.loads((out / "report.json").read_text())["times"]
                moves = read((out / "program.nc").read_text())
                seconds[ahead], dots[ahead] = times, (out / "dots.png").read_bytes()
                rides[ahead] = ride(moves, Machine(acceleration=(a, a), ahead=max(ahead, 15)))
            now, before, ridden = seconds[15], seconds[0], rides[15]
            print(f"| {art} {' '.join(options[2:])} | {a} | {before['total_s']:.0f} | {now['total_s']:.0f} | "
                  f"{now['total_s'] / before['total_s']:.3f} | {now['bound_s'] / before['total_s']:.3f} | "
                  f"{now['beam_on_s']:.0f} / {now['gaps_s']:.0f} / {now['run_up_s']:.0f} | "
                  f"{100 * (ridden.seconds / now['total_s'] - 1):+.3f} % | {sum(mm for _, mm in ridden.off):.3f} | "
                  f"{'yes' if dots[0] == dots[15] else 'NO'} |", flush=True)


def fewer_lines(program, folder, photos):
    """Time and likeness of photos on a round blank of 90 mm with dots on all lines and on fewer: rows for gaps.md."""
    def run(art, ahead, known, *options):
        machine, out = folder / f"{ahead}.toml", folder / "out"
        machine.write_text(TOML.format(name="bench", a=500, ahead=ahead))
        subprocess.run([program, "prepare", str(art), "--blank", "round:90mm", "--place", "cover", "--read-as", "photo",
                        "--machine", str(machine), "--out", str(out), "--replace", "--screen", *options, *known], check=True,
                       capture_output=True)
        report = json.loads((out / "report.json").read_text())
        ridden = ride(read((out / "program.nc").read_text()), Machine(ahead=max(ahead, 15)))
        assert abs(ridden.seconds / report["times"]["total_s"] - 1) < 0.001 and not ridden.off
        return ridden.seconds, report["forecast"]["likeness_planned_db"], report["forecast"]["likeness_expected_db"]

    for art in photos:
        for known in ([], ["--known", "0%"]):
            before, *diffused = run(art, 0, [], "floyd-steinberg")
            rows = [run(art, 15, known, "auto", "--time", time) for time in ("100%", "auto", "1%")]
            told = " | ".join(f"{s:.0f} ({s / before:.3f}), {planned:.1f} / {expected:.1f}" for s, planned, expected in rows)
            print(f"| {pathlib.Path(art).stem} | {' '.join(known) or 'assumed'} | {before:.0f}, {diffused[0]:.1f} / {diffused[1]:.1f} | {told} |", flush=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        if sys.argv[2:]:
            fewer_lines(sys.argv[1], pathlib.Path(folder), sys.argv[2:])
        else:
            measure(sys.argv[1], pathlib.Path(folder))
