//! The files of a shoot hold what was performed, as ffmpeg and ffprobe read them.

use std::path::Path;
use std::process::Command;

use rehearsal::scenes::{self, CommonSignal};
use rehearsal::{
    Channel, Encoding, Performance, Shoot, Sound, Source, Stamp, UnitSpec, material, read_truth,
    write_shoots,
};

/// What a program prints; its absence or failure fails the test.
fn output_of(program: &str, args: &[&str], file: &Path) -> Vec<u8> {
    let output = Command::new(program).args(args).arg(file).output();
    let output = output.unwrap_or_else(|error| panic!("{program} is needed: {error}"));
    assert!(
        output.status.success(),
        "{program}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

/// The interleaved samples of a file, by ffmpeg.
fn samples_of(file: &Path) -> Vec<f64> {
    let path = file.to_str().expect("a path in Unicode");
    let args = [
        "-v",
        "error",
        "-i",
        path,
        "-f",
        "f64le",
        "-c:a",
        "pcm_f64le",
    ];
    let bytes = output_of("ffmpeg", &args, Path::new("-"));
    bytes
        .chunks_exact(8)
        .map(|b| f64::from_le_bytes(b.try_into().unwrap_or_default()))
        .collect()
}

fn probe(file: &Path, entry: &str) -> String {
    let args = [
        "-v",
        "error",
        "-show_entries",
        entry,
        "-of",
        "default=nw=1:nk=1",
    ];
    String::from_utf8_lossy(&output_of("ffprobe", &args, file))
        .trim()
        .to_owned()
}

fn small_shoot() -> Shoot {
    let unit = |name: &str, encoding: Encoding| {
        UnitSpec::new(name)
            .encoding(encoding)
            .noise_dbfs(-60.0)
            .channel(Channel::mic("Left", [1.0, 0.0, 0.0]))
            .channel(Channel::mic("Right", [0.0, 1.0, 0.0]).inverted())
    };
    Shoot::new(5)
        .seconds(1.5)
        .source(Source::new([0.0; 3], Sound::programme()))
        .unit(unit("OAK", Encoding::Float32))
        .unit(
            unit("ELM", Encoding::Int24)
                .starts_after_s(0.25)
                .part_samples(25_000),
        )
        .unit(unit("ASH", Encoding::Int16).stamp(Stamp::absent()))
}

#[test]
fn others_read_what_was_performed() {
    let folder = tempfile::tempdir().unwrap();
    let truth = small_shoot().write(folder.path()).unwrap();
    let Performance { units, .. } = small_shoot().perform().unwrap();
    // Half a step of the encoding; 32-bit floating point near 0.5 rounds by at most 2^-25.
    for (index, half_step) in [
        (0, 2_f64.powi(-25)),
        (1, 2_f64.powi(-24)),
        (2, 2_f64.powi(-16)),
    ] {
        let files = &truth.units[index].files;
        let found: Vec<f64> = files
            .iter()
            .flat_map(|file| samples_of(&folder.path().join(file)))
            .collect();
        let [left, right] = &units[index].planes[..] else {
            panic!("two channels")
        };
        assert_eq!(found.len(), 2 * left.len());
        assert_eq!(truth.units[index].length_samples, left.len() as u64);
        for (i, pair) in found.chunks_exact(2).enumerate() {
            assert!((pair[0] - left[i]).abs() <= half_step, "{i}");
            assert!((pair[1] - right[i]).abs() <= half_step, "{i}");
        }
    }
}

#[test]
fn stamps_and_names_are_in_the_metadata() {
    let folder = tempfile::tempdir().unwrap();
    let truth = small_shoot().write(folder.path()).unwrap();
    let elm = &truth.units[1].files;
    assert_eq!(
        elm[..],
        [
            "ELM/ELM_T01_1.WAV",
            "ELM/ELM_T01_2.WAV",
            "ELM/ELM_T01_3.WAV"
        ]
    );
    let reference = |file: &str| probe(&folder.path().join(file), "format_tags=time_reference");
    // Ten o'clock and a quarter of a second: 36 000.25 s of 48 000 samples.
    assert_eq!(reference("OAK/OAK_T01.WAV"), "1728000000");
    assert_eq!(reference(&elm[0]), "1728012000");
    assert_eq!(reference(&elm[2]), "1728062000");
    assert_eq!(reference("ASH/ASH_T01.WAV"), "");
    let oak = folder.path().join("OAK/OAK_T01.WAV");
    assert_eq!(probe(&oak, "format_tags=encoded_by"), "OAK");
    assert_eq!(probe(&oak, "format_tags=creation_time"), "10:00:00");
    assert_eq!(probe(&oak, "stream=codec_name"), "pcm_f32le");
}

#[test]
fn written_from_memory_or_as_it_comes_the_files_are_the_same() {
    let [one, two] = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let streamed = small_shoot().write(one.path()).unwrap();
    let kept = small_shoot().perform().unwrap().write(two.path()).unwrap();
    assert_eq!(streamed, kept);
    for file in streamed.units.iter().flat_map(|unit| &unit.files) {
        let [a, b] = [one.path(), two.path()].map(|root| std::fs::read(root.join(file)).unwrap());
        assert!(a == b, "{file} differs");
    }
}

#[test]
fn a_day_of_takes_goes_to_the_same_cards_and_its_truth_reads_back() {
    let folder = tempfile::tempdir().unwrap();
    let second = small_shoot()
        .named("T02")
        .time_of_day_s(36_100.0)
        .seconds(0.5);
    let mut shares = Vec::new();
    let shoots = [small_shoot(), second];
    let truths = write_shoots(&shoots, folder.path(), |share| shares.push(share)).unwrap();
    assert_eq!(read_truth(folder.path()).unwrap(), truths);
    assert!(shares.is_sorted() && (shares[shares.len() - 1] - 1.0).abs() < 1e-3);
    assert!(folder.path().join("OAK/OAK_T02.WAV").exists());
    // Nothing is overwritten.
    let again = small_shoot().write(folder.path()).unwrap_err();
    assert!(again.to_string().ends_with("OAK_T01.WAV"), "{again}");
}

#[test]
fn recorded_speech_and_music_can_be_sources() {
    let folder = tempfile::tempdir().unwrap();
    let talk = material::speech(folder.path(), "en-gb+f2", 6.0).unwrap();
    let tune = material::sample(folder.path(), "guit_harmonics").unwrap();
    let seconds: f64 = probe(&talk, "format=duration").parse().unwrap();
    assert!((3.0..12.0).contains(&seconds), "{seconds} s of speech");
    for path in [talk, tune] {
        let choice = CommonSignal {
            seconds: 3.0,
            mics: 0,
            snr_db: 80.0,
            ..CommonSignal::default()
        };
        let mut shoot = scenes::common_signal(&choice);
        shoot.signals[0].sound = Sound::Recordings {
            paths: vec![path],
            pause_s: 0.0,
        };
        let plane = shoot.perform().unwrap().units[0].planes[0].clone();
        let power = plane.iter().map(|x| x * x).sum::<f64>() / plane.len() as f64;
        assert!((10.0 * power.log10() + 20.0).abs() < 0.2);
    }
    let missing = material::sample(folder.path(), "no_such_recording").unwrap_err();
    assert!(missing.to_string().contains("no_such_recording"));
}
