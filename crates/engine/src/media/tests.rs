//! Cards made by hand: what is listed, in which order, what is passed over; digests against the reference's own tool.

#![expect(
    clippy::disallowed_methods,
    reason = "tests make their own cards in temporary folders"
)]

use std::process::Command;

use super::*;

/// Where `./check` installs the Python references.
const PYTHON: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../.venv/bin/python");

fn card(files: &[&str]) -> tempfile::TempDir {
    let card = tempfile::tempdir().expect("temporary folder");
    for file in files {
        let path = card.path().join(file);
        fs::create_dir_all(path.parent().expect("inside the card")).expect("folder");
        fs::write(path, b"x").expect("file");
    }
    card
}

fn names(card: &Path, list: &[PathBuf]) -> Vec<String> {
    let relative = |path: &PathBuf| {
        let inner = path.strip_prefix(card).expect("inside the card");
        inner.to_string_lossy().into_owned()
    };
    list.iter().map(relative).collect()
}

#[test]
fn ten_comes_after_two() {
    let mut names = ["T_10.wav", "T_2.wav", "t_1.wav"];
    names.sort_by_cached_key(|name| natural_key(name));
    assert_eq!(names, ["t_1.wav", "T_2.wav", "T_10.wav"]);
}

#[test]
fn a_card_is_listed_in_natural_order_and_junk_is_passed_over() {
    let card = card(&[
        "DAY1/T_10.WAV",
        "DAY1/T_2.wav",
        "DAY1/._T_2.wav",
        "DAY1/trash talk.wav",
        ".Trashes/501/old.wav",
        "$RECYCLE.BIN/old.wav",
        "System Volume Information/x.wav",
        "Trash/old.wav",
        "notes.txt",
        "mix.mp3",
        "DAY1/mix.aiff",
    ]);
    let listing = list(card.path()).expect("listed");
    assert_eq!(
        names(card.path(), &listing.waves),
        ["DAY1/T_2.wav", "DAY1/T_10.WAV", "DAY1/trash talk.wav"]
    );
    assert_eq!(
        names(card.path(), &listing.other_sound),
        ["DAY1/mix.aiff", "mix.mp3"]
    );
    assert_eq!(listing.junk.len(), 5, "{:?}", listing.junk);
}

/// Files of other programs: ffmpeg writes every one of them.
#[test]
fn sound_is_known_by_what_it_holds() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let made = |name: &str, args: &str| {
        let path = folder.path().join(name);
        let source = "-v error -f lavfi -i sine=frequency=440:sample_rate=48000:duration=0.5 -ac 2";
        let status = Command::new("ffmpeg")
            .args(source.split(' ').chain(args.split_whitespace()))
            .arg(&path)
            .status()
            .expect("ffmpeg is needed by this test");
        assert!(status.success(), "{name}");
        let sound = sniff(&path).expect("read");
        (sound, sound.is_lossless())
    };
    let flac = OtherSound::Flac {
        rate: 48_000,
        channels: 2,
        bits: 24,
        length: 24_000,
    };
    let bits = "-c:a flac -sample_fmt s32 -bits_per_raw_sample 24";
    assert_eq!(made("a.flac", bits), (flac, true));
    assert_eq!(made("b.wav", &format!("{bits} -f flac")), (flac, true));
    assert_eq!(made("a.aiff", ""), (OtherSound::Aiff, true));
    assert_eq!(made("a.w64", ""), (OtherSound::Wave64, true));
    assert_eq!(made("a.caf", ""), (OtherSound::Caf, false));
    assert_eq!(
        made("a.mp3", "-id3v2_version 0 -write_xing 0"),
        (OtherSound::Mpeg, false)
    );
    assert_eq!(made("b.mp3", ""), (OtherSound::Mpeg, false));
    assert_eq!(made("a.aac", ""), (OtherSound::Aac, false));
    assert_eq!(made("a.ogg", "-c:a libvorbis"), (OtherSound::Ogg, false));
    assert_eq!(made("a.opus", "-c:a libopus"), (OtherSound::Ogg, false));
    assert_eq!(made("a.m4a", ""), (OtherSound::Mp4, false));
    assert_eq!(made("a.wma", ""), (OtherSound::Asf, false));
    let path = folder.path().join("text.flac");
    for text in [
        &b"no sound at all, and longer than a head is"[..],
        b"fLaC",
        b"",
    ] {
        fs::write(&path, text).expect("file");
        assert_eq!(sniff(&path).expect("read"), OtherSound::Unknown);
    }
}

#[test]
fn folders_are_followed_a_long_way_and_then_told() {
    let deep = |folders: usize| format!("{}T01.wav", "d/".repeat(folders));
    let near = card(&[&deep(60)]);
    let listing = list(near.path()).expect("listed");
    assert_eq!((listing.waves.len(), listing.unlisted.len()), (1, 0));
    let far = card(&[&deep(70)]);
    let listing = list(far.path()).expect("listed");
    assert_eq!((listing.waves.len(), listing.unlisted.len()), (0, 1));
    assert!(listing.unlisted[0].1.contains("folders deep"));
}

#[test]
fn what_is_no_file_is_not_opened() {
    let card = card(&["a.wav"]);
    let pipe = card.path().join("pipe.wav");
    let made = Command::new("mkfifo").arg(&pipe).status().expect("mkfifo");
    assert!(made.success());
    let listing = list(card.path()).expect("listed");
    assert_eq!(names(card.path(), &listing.waves), ["a.wav"]);
    assert_eq!(listing.junk, [pipe]);
}

#[test]
fn a_missing_card_says_what_to_check() {
    let error = list(Path::new("no/such/card")).expect_err("there is none");
    assert_eq!(error.kind(), Kind::Io);
    assert!(error.to_string().contains("mounted"), "{error}");
}

#[test]
fn a_place_that_does_not_exist_yet_can_lie_inside() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let card = folder.path().join("card");
    fs::create_dir(&card).expect("folder");
    assert!(is_inside(&card, &card));
    assert!(is_inside(&card, &card.join("out/deep")));
    assert!(is_inside(&card, &folder.path().join("gone/../card/out")));
    assert!(!is_inside(&card, &card.join("../out")));
    assert!(!is_inside(&card, &card.join("gone/../../out")));
    assert!(!is_inside(&card.join("out"), &card));
    assert!(!is_inside(&card, &folder.path().join("card-2")));
}

#[cfg(unix)]
#[test]
fn a_link_into_a_card_lies_inside_it() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let card = folder.path().join("card");
    fs::create_dir(&card).expect("folder");
    let link = folder.path().join("link");
    std::os::unix::fs::symlink(&card, &link).expect("link");
    assert!(is_inside(&card, &link.join("out")));
}

#[test]
fn a_digest_is_of_size_head_and_tail() {
    // sizes around the two pieces of 64 KiB; the hash of the same bytes is computed by the Python xxhash package
    let folder = tempfile::tempdir().expect("temporary folder");
    let script = "import sys, xxhash, struct\n\
                  b = open(sys.argv[1], 'rb').read()\n\
                  k = min(len(b), 65536)\n\
                  d = struct.pack('<Q', len(b)) + b[:k] + b[len(b) - k:]\n\
                  print('xxh3:' + xxhash.xxh3_64_hexdigest(d))";
    for size in [0_usize, 1, 65_535, 65_536, 100_000, 131_072, 300_000] {
        let path = folder.path().join("file");
        let bytes: Vec<u8> = (0..size).map(|i| (i * i / 7 % 251) as u8).collect();
        fs::write(&path, &bytes).expect("file");
        let python = std::env::var("COMMONTIME_PYTHON").unwrap_or_else(|_| PYTHON.into());
        let output = Command::new(python)
            .args(["-c", script])
            .arg(&path)
            .output()
            .expect("python with xxhash");
        assert!(output.status.success(), "{output:?}");
        let expected = String::from_utf8_lossy(&output.stdout);
        assert_eq!(
            digest(&path).expect("digest"),
            expected.trim(),
            "{size} bytes"
        );
    }
}

#[test]
fn a_digest_notices_a_change_at_either_end() {
    let folder = tempfile::tempdir().expect("temporary folder");
    let path = folder.path().join("file");
    let mut bytes = vec![0_u8; 200_000];
    let mut digests = std::collections::HashSet::new();
    for at in [None, Some(0), Some(199_999)] {
        if let Some(at) = at {
            bytes[at] ^= 1;
        }
        fs::write(&path, &bytes).expect("file");
        assert!(digests.insert(digest(&path).expect("digest")));
    }
}
