//! Recordings whose unit lost power: the copy stays what the card holds, and a repaired one beside it opens in other
//! programs with every sample that is there.

use std::fs;

use crate::bench::{Bench, codes, json, noise, run};

/// A file of ffmpeg's with a stamp and a name, 24 bits, three channels: blocks of nine bytes.
fn whole(bench: &Bench) -> Vec<u8> {
    let path = bench.text("whole.wav");
    run(
        "ffmpeg",
        &[
            "-v",
            "error",
            "-f",
            "lavfi",
            "-i",
            "anoisesrc=r=48000:d=1:seed=7",
            "-filter_complex",
            "[0]asplit=3[a][b][c];[a][b][c]join=inputs=3:channel_layout=3.0",
            "-c:a",
            "pcm_s24le",
            "-write_bext",
            "1",
            "-metadata",
            "time_reference=1728000000",
            "-metadata",
            "originator=mill",
            &path,
        ],
    );
    fs::read(path).expect("file")
}

/// Where the size of the audio stands.
fn data_size_at(bytes: &[u8]) -> usize {
    bytes
        .windows(4)
        .position(|letters| letters == b"data")
        .expect("audio")
        + 4
}

#[test]
fn what_was_never_closed_is_repaired_beside_its_copy() {
    let bench = Bench::new();
    let whole = whole(&bench);
    let at = data_size_at(&whole);
    let mut unclosed = whole.clone();
    unclosed[4..8].copy_from_slice(&[0; 4]);
    unclosed[at..at + 4].copy_from_slice(&[0; 4]);
    // cut in the middle of a block, its size all ones, a chunk that only its maker knows before the audio
    let mut cut = [
        &unclosed[..12],
        b"zzzz\x04\0\0\0mill",
        &unclosed[12..100_000],
    ]
    .concat();
    cut[at + 12..at + 16].copy_from_slice(&[0xff; 4]);
    let card = bench.text("NORTH");
    bench.put("NORTH/DAY1/T01.WAV", &whole);
    bench.put("NORTH/DAY1/T02.WAV", &unclosed);
    bench.put("NORTH/T03.WAV", &cut);
    bench.put("NORTH/T04.WAV", &noise(3000, 1));
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a"), "--repair"]);
    assert_eq!(ended, 1, "one copy alone: {value:#}");
    assert_eq!(codes(&value), ["repaired"]);
    assert_eq!(
        bench.files("a/NORTH"),
        bench.files("NORTH"),
        "the copy is the card"
    );
    let repaired = bench.files("a/NORTH-repaired");
    let names: Vec<&str> = repaired.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["DAY1/T02.WAV", "T03.WAV"]);
    for (name, length) in [
        ("DAY1/T02.WAV", 48_000),
        ("T03.WAV", (100_012 - at - 16) / 9),
    ] {
        let path = bench.text(&format!("a/NORTH-repaired/{name}"));
        let told = |entry: &str| {
            let args = [
                "-v",
                "error",
                "-of",
                "default=nk=1:nw=1",
                "-show_entries",
                entry,
                &path,
            ];
            run("ffprobe", &args).trim().to_string()
        };
        assert_eq!(told("stream=duration_ts"), length.to_string(), "{name}");
        assert_eq!(told("format_tags=time_reference"), "1728000000");
        assert!(told("format_tags=coding_history").contains("header not closed"));
        // every sample of the whole file, by another program
        let samples = |path: &str| {
            let raw = bench.text("raw");
            run("sox", &[path, "-t", "raw", &raw]);
            fs::read(raw).expect("samples")
        };
        let expected = samples(&bench.text("NORTH/DAY1/T01.WAV"));
        assert_eq!(samples(&path), expected[..length * 9], "{name}");
    }
    assert!(
        repaired[1]
            .1
            .windows(12)
            .any(|bytes| bytes == b"zzzz\x04\0\0\0mill")
    );
    // a second run leaves what is there
    let (ended, value) = json(&["offload", &card, "--to", &bench.text("a"), "--repair"]);
    assert_eq!((ended, codes(&value).len()), (1, 0), "{value:#}");
    assert_eq!(bench.files("a/NORTH-repaired"), repaired);
}
