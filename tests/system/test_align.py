"""A recorder's sound lined up with a night by the base station's own chirps, and its level used."""
import csv
import json
import os
import time
import wave

import numpy

import support
from live import House
from support import ROOMWAKE

RATE = 48000
OFF_PPM = 120.0   # the recorder's second is that much longer
LATENCY_S = 0.1
LEAD_S = 0.1      # silence at the beginning of the chirp's file


def read_wave(path):
    with wave.open(str(path)) as sound:
        bytes_ = sound.readframes(sound.getnframes())
        return numpy.frombuffer(bytes_, dtype="<i2") / 32768.0, sound.getframerate()


def write_wave(path, samples):
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE)
        sound.writeframes((numpy.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())


class AlignTest(support.Case):
    def chirp_once(self, nth):
        """The player is a script that keeps the file and the time at which it was started."""
        player = self.write(f"player{nth}.sh", "#!/bin/sh\n"
                            f"date +%s.%N > {self.folder}/played{nth}\n"
                            f"cp \"$1\" {self.folder}/chirp{nth}.wav\n")
        os.chmod(player, 0o755)
        self.run(ROOMWAKE, "chirp", "--player", str(player), "--latency", str(LATENCY_S),
                 "--latency-error", "0.15", check=0)
        started = float((self.folder / f"played{nth}").read_text())
        return started + LATENCY_S

    def recording_of(self, heard_s, start_s, length_s):
        draw = numpy.random.default_rng(11)
        own = numpy.arange(int(length_s * RATE)) / RATE
        site = start_s + own * (1 + OFF_PPM * 1e-6)
        samples = 0.01 * draw.standard_normal(len(own))
        for nth, at in enumerate(heard_s):
            chirp, rate = read_wave(self.folder / f"chirp{nth}.wav")
            times = at + numpy.arange(len(chirp)) / rate
            samples += 0.2 * numpy.interp(site, times, chirp, left=0, right=0)
        path = self.folder / "recorder.wav"
        write_wave(path, samples)
        return path

    def test_chirps_find_the_recorders_clock_and_its_level_is_a_witness(self):
        house = House(self, support.site(rooms=("hall", "kitchen"), baseline_s=10))
        house.start_station()
        house.station.wait_output(r"broker +there")
        heard = []
        for nth in range(3):
            heard.append(self.chirp_once(nth))
            # A chirp lasts half a second: the next comes well after it, and after its mark is in.
            support.wait_for("the last chirp to fade", lambda: time.time() > heard[-1] + 2)
            house.station.wait_output(rf"(?s)(mark +\"chirp.*?){{{nth + 1}}}")
        house.stop_station()
        start_s = heard[0] - 6.25
        recording = self.recording_of(heard, start_s, heard[-1] - start_s + 5)
        levels = self.folder / "levels.csv"
        told = self.run(ROOMWAKE, "align", house.night, recording, "--distance", "0",
                        "--levels", levels, check=0).stdout
        self.assertIn("3 of 3 sounds", told)
        line = json.loads((self.folder / "recorder.wav.align.json").read_text())
        with open(levels, encoding="ascii") as file:
            rows = list(csv.DictReader(file))
        # The recorder's first tenth of a second ends so long after its start.
        error_s = float(rows[0]["time"]) - 0.1 - start_s
        # A shell was started before the "player" noted its time: on a busy machine that is late.
        self.assertLess(abs(error_s), 0.6, told)
        self.assertEqual(line["anchors_used"], 3)
        self.assertLess(float(rows[10]["sound"]), -30)
        loudest = max(rows, key=lambda row: float(row["sound-peak"]))
        near = min(abs(float(loudest["time"]) - at - LEAD_S) for at in heard)
        self.assertLess(near, 1.2)

    def test_wrong_recordings_and_too_few_sounds_say_what_to_do(self):
        house = House(self, support.site(rooms=("hall", "kitchen"), baseline_s=10))
        house.start_station()
        house.station.wait_output(r"broker +there")
        at = self.chirp_once(0)
        house.station.wait_output(r"mark +\"chirp")
        house.stop_station()
        recording = self.recording_of([at], at - 3, 6)
        done = self.run(ROOMWAKE, "align", house.night, recording, check=1)
        self.assertIn("two are needed", done.stderr)
        noise = self.write("noise.wav", "no sound file")
        done = self.run(ROOMWAKE, "align", house.night, noise, check=1)
        self.assertIn("noise.wav", done.stderr)
        self.run(ROOMWAKE, "align", house.night, check=2)


if __name__ == "__main__":
    support.main()
