"""libltc (LGPL, Debian's libltc11) as a reference, called through ctypes.

decode APV                          float32 samples on stdin; a line a word: start, end, reverse, octets
encode RATE FPS STANDARD FLAGS COUNT H M S F USER
                                    COUNT words from a label on; unsigned 8-bit samples on stdout
frames FPS STANDARD FLAGS           lines "H M S F YEAR MONTH DAY ZONE USER" on stdin; the octets of each
time APV                            float32 samples on stdin; seconds taken to decode them, best of five
"""

import ctypes
import sys
import time

lib = ctypes.CDLL("libltc.so.11")


class Timecode(ctypes.Structure):
    _fields_ = [("zone", ctypes.c_char * 6)] + [
        (name, ctypes.c_ubyte)
        for name in ("year", "month", "day", "hour", "minute", "second", "frame")
    ]


class Word(ctypes.Structure):
    _fields_ = [
        ("octets", ctypes.c_ubyte * 10),
        ("start", ctypes.c_longlong),
        ("end", ctypes.c_longlong),
        ("reverse", ctypes.c_int),
        ("tics", ctypes.c_float * 80),
        ("low", ctypes.c_ubyte),
        ("high", ctypes.c_ubyte),
        ("volume", ctypes.c_double),
    ]


lib.ltc_encoder_create.restype = ctypes.c_void_p
lib.ltc_encoder_create.argtypes = [ctypes.c_double, ctypes.c_double, ctypes.c_int, ctypes.c_int]
lib.ltc_encoder_set_timecode.argtypes = [ctypes.c_void_p, ctypes.POINTER(Timecode)]
lib.ltc_encoder_set_user_bits.argtypes = [ctypes.c_void_p, ctypes.c_ulong]
lib.ltc_encoder_get_frame.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
lib.ltc_encoder_encode_frame.argtypes = [ctypes.c_void_p]
lib.ltc_encoder_inc_timecode.argtypes = [ctypes.c_void_p]
lib.ltc_encoder_get_buffersize.argtypes = [ctypes.c_void_p]
lib.ltc_encoder_get_buffersize.restype = ctypes.c_size_t
lib.ltc_encoder_get_buffer.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
lib.ltc_decoder_create.restype = ctypes.c_void_p
lib.ltc_decoder_create.argtypes = [ctypes.c_int, ctypes.c_int]
lib.ltc_decoder_free.argtypes = [ctypes.c_void_p]
lib.ltc_decoder_write_float.argtypes = [
    ctypes.c_void_p, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_longlong]
lib.ltc_decoder_read.argtypes = [ctypes.c_void_p, ctypes.POINTER(Word)]

PIECE = 4096


def decode(apv, samples, said=None):
    decoder = lib.ltc_decoder_create(apv, 64)
    word = Word()
    base = ctypes.addressof(samples)
    for at in range(0, len(samples), PIECE):
        lib.ltc_decoder_write_float(decoder, base + 4 * at, min(PIECE, len(samples) - at), at)
        while lib.ltc_decoder_read(decoder, ctypes.byref(word)):
            if said is not None:
                said.append(f"{word.start} {word.end} {word.reverse} {bytes(word.octets).hex()}")
    lib.ltc_decoder_free(decoder)


def samples():
    data = sys.stdin.buffer.read()
    return (ctypes.c_float * (len(data) // 4)).from_buffer_copy(data)


def encoder(rate, fps, standard, flags, label, date=(0, 0, 0), zone=b"+0000", user=0):
    made = lib.ltc_encoder_create(rate, fps, standard, flags)
    timecode = Timecode(zone, *date, *label)
    lib.ltc_encoder_set_timecode(made, ctypes.byref(timecode))
    if user:
        lib.ltc_encoder_set_user_bits(made, user)
    return made


def main():
    command, *words = sys.argv[1:]
    if command == "decode":
        said = []
        decode(int(words[0]), samples(), said)
        print("\n".join(said))
    elif command == "time":
        sound = samples()
        taken = []
        for _ in range(5):
            begun = time.perf_counter()
            decode(int(words[0]), sound)
            taken.append(time.perf_counter() - begun)
        print(min(taken))
    elif command == "encode":
        rate, fps = float(words[0]), float(words[1])
        standard, flags, count = (int(word) for word in words[2:5])
        label = [int(word) for word in words[5:9]]
        made = encoder(rate, fps, standard, flags, label, user=int(words[9], 16))
        buffer = (ctypes.c_ubyte * lib.ltc_encoder_get_buffersize(made))()
        for _ in range(count):
            lib.ltc_encoder_encode_frame(made)
            length = lib.ltc_encoder_get_buffer(made, buffer)
            sys.stdout.buffer.write(bytes(buffer[:length]))
            lib.ltc_encoder_inc_timecode(made)
    elif command == "frames":
        fps, standard, flags = float(words[0]), int(words[1]), int(words[2])
        octets = (ctypes.c_ubyte * 10)()
        for line in sys.stdin:
            h, m, s, f, year, month, day, zone, user = line.split()
            label = [int(word) for word in (h, m, s, f)]
            date = [int(word) for word in (year, month, day)]
            made = encoder(48000, fps, standard, flags, label, date, zone.encode(), int(user, 16))
            lib.ltc_encoder_get_frame(made, octets)
            print(bytes(octets).hex())


main()
