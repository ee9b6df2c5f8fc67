//! `signal`: what is asked of a marker or a tone in, a wave file to play into all units out.

use std::ffi::OsStr;

use anyhow::Result;
use engine::build::{SoundFile, write_sound};
use engine::finding::Finding;
use engine::output::Replace;
use engine::sounds::marker::{CLOSEST_S, FIRST_S, HIGHEST_HZ, LOWEST_HZ, MARKER_S};
use engine::sounds::{Marker, TestSound, Tone};
use engine::units::{Db, counted};
use engine::{Error, Kind};
use serde_json::json;

use super::args::{MarkerArgs, SignalCommand, SoundFileArgs, ToneArgs};
use super::exit::Ended;
use super::say;

/// Half the sampling rate lies so many times above what sounds: no converter passes all up to it.
const ABOVE: f64 = 1.06;

/// Writes the file.
pub fn run(command: &SignalCommand, json: bool) -> Result<Ended> {
    match command {
        SignalCommand::Marker(args) => marker(args, json),
        SignalCommand::Tone(args) => tone(args, json),
    }
}

fn marker(args: &MarkerArgs, json: bool) -> Result<Ended> {
    let file = Asked::of(&args.file, HIGHEST_HZ, "markers")?;
    if !(CLOSEST_S..=3600.0).contains(&args.every) {
        return Err(refused(format!(
            "--every is {}; expected {CLOSEST_S} to 3600 seconds",
            args.every
        )));
    }
    let marker = Marker {
        sample_rate: args.file.sample_rate,
        amplitude: file.amplitude,
        every_s: args.every,
    };
    let markers = marker.within(args.file.seconds);
    if markers == 0 {
        return Err(refused(format!(
            "--seconds is {}; expected room for a marker, which lasts {MARKER_S} s and begins {FIRST_S} s or a little later",
            args.file.seconds
        )));
    }
    let what = format!(
        "{} of {MARKER_S} s, {LOWEST_HZ} to {HIGHEST_HZ} Hz, one every {} s",
        counted(markers as usize, "marker"),
        args.every
    );
    file.write(&marker, &what)?;
    if json {
        let begins: Vec<f64> = (0..markers).map(|number| marker.begins_s(number)).collect();
        return file.say(json!({
            "kind": "marker",
            "every_s": args.every,
            "band_hz": [LOWEST_HZ, HIGHEST_HZ],
            "marker_s": MARKER_S,
            "begins_s": begins,
        }));
    }
    say::line(file.line(&what));
    if markers == 1 {
        say::line(
            "one marker tells a place and no clock: make the file longer, or the markers closer",
        );
    }
    say::line(
        "record it on one channel of every unit, from one output, for the whole take; align finds it by itself. Between \
         two markers a clock is not measured but drawn, and samples lost there are placed no closer than the distance of \
         the markers",
    );
    Ok(Ended::Done)
}

fn tone(args: &ToneArgs, json: bool) -> Result<Ended> {
    if !(1.0..=380_000.0).contains(&args.frequency) {
        return Err(refused(format!(
            "--frequency is {}; expected 1 Hz to {:.2} of the sampling rate",
            args.frequency,
            0.5 / ABOVE
        )));
    }
    let file = Asked::of(&args.file, args.frequency, "a tone of that frequency")?;
    let tone = Tone {
        sample_rate: args.file.sample_rate,
        amplitude: file.amplitude,
        frequency_hz: args.frequency,
        length: file.length,
    };
    let what = format!("a sine of {} Hz", args.frequency);
    file.write(&tone, &what)?;
    if json {
        return file.say(json!({ "kind": "tone", "frequency_hz": args.frequency }));
    }
    say::line(file.line(&what));
    say::line(
        "a sine sets levels; it repeats too soon to place a unit by: use signal marker for that, or ltc write for timecode",
    );
    Ok(Ended::Done)
}

/// What both have in common, found to make sense.
struct Asked<'a> {
    args: &'a SoundFileArgs,
    amplitude: f64,
    length: u64,
}

impl<'a> Asked<'a> {
    fn of(args: &'a SoundFileArgs, highest_hz: f64, what: &str) -> Result<Self> {
        let ending = args.out.extension().and_then(OsStr::to_str).unwrap_or("");
        if !ending.eq_ignore_ascii_case("wav") {
            return Err(refused(format!(
                "--out is {}; a wave file is written, expected a name that ends in .wav",
                args.out.display()
            )));
        }
        if !(args.seconds > 0.0 && args.seconds <= 86_400.0) {
            return Err(refused(format!(
                "--seconds is {}; expected more than 0, at most a day",
                args.seconds
            )));
        }
        let amplitude = amplitude_of(args.level)?;
        let rate_hz = f64::from(args.sample_rate);
        if rate_hz < 2.0 * ABOVE * highest_hz {
            return Err(refused(format!(
                "--sample-rate is {}; expected at least {:.0} Hz for {what}: it sounds up to {highest_hz} Hz",
                args.sample_rate,
                2.0 * ABOVE * highest_hz
            )));
        }
        Ok(Self {
            args,
            amplitude,
            length: (args.seconds * rate_hz).round() as u64,
        })
    }

    fn write(&self, sound: &dyn TestSound, what: &str) -> Result<()> {
        let file = SoundFile {
            sound,
            sample_rate: self.args.sample_rate,
            length: self.length,
            description: format!("{what}, peaks at {} dBFS", self.args.level),
        };
        write_sound(&self.args.out, &file, Replace::from(self.args.replace))?;
        say::aside(
            "Caution: test sounds are loud and piercing in headphones and loudspeakers: turn them down or unplug them before \
             this is played. It is a line signal: into a microphone input only through an attenuator, with phantom power off.",
        );
        Ok(())
    }

    fn line(&self, what: &str) -> String {
        format!(
            "{}: {what}, {} s, {} Hz, peaks at {} dBFS (a sine of 0 dBFS just reaches full scale; by its RMS it reads the same \
             on meters after AES17, 3 dB less on others)",
            self.args.out.display(),
            self.args.seconds,
            self.args.sample_rate,
            self.args.level
        )
    }

    fn say(&self, mut value: serde_json::Value) -> Result<Ended> {
        let common = json!({
            "file": self.args.out,
            "sample_rate": self.args.sample_rate,
            "length_samples": self.length,
            "level_dbfs_peak": self.args.level,
            "findings": Vec::<Finding>::new(),
        });
        if let (Some(all), Some(common)) = (value.as_object_mut(), common.as_object()) {
            all.extend(common.clone());
        }
        say::json(&value)?;
        Ok(Ended::Done)
    }
}

/// The peak that a level stands for, 1 for full scale.
pub fn amplitude_of(level_dbfs: f64) -> Result<f64> {
    match (-80.0..=0.0).contains(&level_dbfs) {
        true => Ok(Db(level_dbfs).amplitude()),
        false => Err(refused(format!(
            "--level is {level_dbfs}; expected -80 to 0 dB of full scale"
        ))),
    }
}

fn refused(message: String) -> anyhow::Error {
    Error::new(Kind::Usage, message).into()
}
