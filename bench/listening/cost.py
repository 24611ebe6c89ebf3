"""What listening costs a process of its own: its start, memory, and time per second of sound.

    python bench/listening/cost.py

Start is all processor time until the listener could begin (Python, imports, the pitch detector);
memory is the peak of the process; both beside an empty Python process that only imports NumPy.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import soundfile
from band import INSTRUMENTS, RATE, synth
from passages import passage_of
from performances import Manner, perform

SRC = Path(__file__).parents[2] / "src"
PEAK = "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
EMPTY = f"import resource, time, numpy; print(time.process_time()); {PEAK}"
LISTENER = f"""
import resource, sys, time
sys.path[:0] = {[str(SRC), str(Path(__file__).parent)]!r}
from passages import passage_of
from coldtake.listening.judging_request import JudgingRequest
from coldtake.domain.criterion import default_criterion
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound, read_sound
import numpy as np
passage = passage_of(ROWS)
judge(Sound(np.zeros(22050, np.float32), 44100), JudgingRequest(passage, default_criterion()))
print(time.process_time())
sound = read_sound(open(PATH, "rb").read(), "take.wav")
started = time.process_time()
judge(sound, JudgingRequest(passage, default_criterion()))
print((time.process_time() - started) / sound.duration_s)
{PEAK}
"""
SCALE = (0, 2, 4, 5, 7, 9, 11, 12, 11, 9, 7, 5, 4, 2)


def _said(program: str) -> list[float]:
    done = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    return [float(x) for x in done.stdout.split()]


def main() -> None:
    print("| process | start, CPU s | peak, MB | CPU s per s of sound |\n| --- | --- | --- | --- |")
    start, peak = _said(EMPTY)
    print(f"| Python with NumPy | {start:.2f} | {peak:.0f} | |")
    for name in ("piano", "violin", "voice"):
        rows = [(60 + SCALE[k % 14], 0.5) for k in range(100)]
        played, _ = perform(passage_of(rows), INSTRUMENTS[name], "timgm", 7, manner=Manner())
        sound = synth("timgm").render(INSTRUMENTS[name].program, played)
        with tempfile.TemporaryDirectory() as folder:
            path = f"{folder}/take.wav"
            soundfile.write(path, sound, RATE)
            start, cost, peak = _said(
                LISTENER.replace("ROWS", repr(rows)).replace("PATH", repr(path))
            )
        print(
            f"| listener, {name}, {len(sound) / RATE:.0f} s | {start:.2f} | {peak:.0f} "
            f"| {cost:.3f} |"
        )


if __name__ == "__main__":
    main()
