//! A session file with every field explained, to begin with.

/// What `prep --new` writes: it can be worked out as it stands.
pub const EXAMPLE: &str = r#"# A session file for `commontime prep`, and after the shoot for `join --session` and `build --session`.
# Everything here is an example: change it to your own. Lines that begin with # are for you alone.

[shoot]
name = "Choir and brass in the winter hall"
date = "2026-12-12"
hours = 5.0                     # how long will be recorded in all
longest_take_minutes = 70
sample_rate = 48000             # the same on every unit, up to what all of them can
format = "int24"                # int16, int24 or float32
timecode_rate = "30"            # 30 non-drop serves for sound without picture; else what picture uses: 24, 25, "29.97 DF"
common_signal = "split-source"  # split-source, timecode, marker, tone, clap or none
split = "Hall left"             # of split-source: the source that goes to every unit
spacing_m = 18.0                # the largest distance between microphones on different units
# jam_every_hours = 4.0         # how often timecode is set again; without it once, at the beginning
# receiver = "The mixing room: one file, channels named as below"

[[unit]]                        # the first unit leads, or the one with lead = true
name = "NORTH"
inputs = 8
media_gb = 64.0                 # as printed on the medium, thousand millions of bytes
file_limit_gib = 4              # after how much a file is closed and the next begun; leave out where there is no limit
battery_hours = 6.0             # leave out on the mains
clock = "temperature-controlled"  # crystal, professional, temperature-controlled or oven; or a figure: clock_ppm = 0.5
# mix_tracks = 2                # tracks recorded beside the inputs

[[unit]]
name = "SOUTH"
inputs = 8
media_gb = 64.0
file_limit_gib = 4
battery_hours = 4.5
clock = "temperature-controlled"
note = "stands behind the brass: power from the side stage"

# What is recorded. A source finds its input by itself; unit = "NORTH" and input = 3 fix it.
[[source]]
name = "Hall left"
phantom = true
[[source]]
name = "Hall right"
phantom = true
[[source]]
name = "Choir high"
phantom = true
[[source]]
name = "Choir low"
phantom = true
[[source]]
name = "Trumpets"
[[source]]
name = "Horns"
[[source]]
name = "Trombones"
[[source]]
name = "Tuba"
[[source]]
name = "Timpani"
phantom = true
[[source]]
name = "Organ"
phantom = true
[[source]]
name = "Speaker"
unit = "NORTH"
note = "wireless: line level"

# What belongs together, and what for: array, stereo-pair, summed, spots or ambience. Groups are kept on one unit where they fit.
[[group]]
name = "main pair"
class = "stereo-pair"
sources = ["Hall left", "Hall right"]

[[group]]
name = "choir"
class = "summed"
sources = ["Choir high", "Choir low"]

[[group]]
name = "brass"
class = "spots"
sources = ["Trumpets", "Horns", "Trombones", "Tuba"]
"#;
