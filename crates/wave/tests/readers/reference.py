"""Wave files through libsndfile (soundfile) and wavinfo.

reference.py read FILE...              one line of JSON a file; its samples as 64-bit floats into FILE.f64
reference.py write SAMPLES             the first samples of a file of 64-bit floats into each file that a line of
                                       standard input names: path, format, subtype, channels, length
"""
import json
import sys

import numpy
import soundfile
from wavinfo import WavInfoReader


def through_libsndfile(path):
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    samples.astype("<f8").tofile(path + ".f64")
    return {"rate": rate, "channels": samples.shape[1], "length": samples.shape[0]}


def through_wavinfo(path):
    info = WavInfoReader(path)
    bext, ixml = info.bext, info.ixml
    return {
        "rate": info.fmt.sample_rate,
        "channels": info.fmt.channel_count,
        "bits": info.fmt.bits_per_sample,
        "length": info.data.frame_count,
        "description": bext.description,
        "originator": bext.originator,
        "reference": bext.originator_ref,
        "date": bext.originator_date,
        "time": bext.originator_time,
        "stamp": bext.time_reference,
        "version": bext.version,
        "history": bext.coding_history,
        "loudness": bext.loudness_value,
        "project": ixml.project,
        "scene": ixml.scene,
        "take": ixml.take,
        "tape": ixml.tape,
        "family": ixml.family_name,
        "tracks": [[t.channel_index, t.interleave_index, t.name] for t in ixml.track_list],
    }


def read(paths):
    for path in paths:
        print(json.dumps({"libsndfile": through_libsndfile(path), "wavinfo": through_wavinfo(path)}))


def write(samples):
    values = numpy.fromfile(samples, dtype="<f8")
    for line in sys.stdin:
        path, container, subtype, channels, length = line.split()
        sound = values[: int(channels) * int(length)].reshape(-1, int(channels))
        soundfile.write(path, sound, 48000, format=container, subtype=subtype)


if sys.argv[1] == "read":
    read(sys.argv[2:])
else:
    write(sys.argv[2])
