//! Any sound in, as samples, as edges or as words: the timecode reader must not panic, must say the same however the sound is
//! cut, and must read no word that was not sent.

#![no_main]

use libfuzzer_sys::fuzz_target;
use timecode::ltc::{Decoder, Reading};

/// Low ones mostly: a block is five seconds.
const RATES: [u32; 8] = [0, 8000, 8000, 11_025, 16_000, 22_050, 48_000, 192_000];

fuzz_target!(|data: &[u8]| {
    let [kind, rate, piece, cell, rest @ ..] = data else {
        return;
    };
    let sample_rate = RATES[usize::from(*rate) % RATES.len()];
    let mut sent = None;
    let mut samples = match kind % 4 {
        0 => rest.iter().map(|x| f32::from(*x as i8) / 128.0).collect(),
        1 => rest
            .chunks_exact(4)
            .filter_map(|x| Some(f32::from_le_bytes(x.try_into().ok()?)))
            .collect(),
        2 => edges(rest),
        _ => {
            let words: Vec<u64> = rest
                .chunks_exact(8)
                .filter_map(|x| Some(u64::from_le_bytes(x.try_into().ok()?)))
                .collect();
            let sound = code(&words, 4 + usize::from(cell % 32));
            sent = Some(words);
            sound
        }
    };
    // what comes later is no other than what came before
    samples.truncate(1 << 17);
    let whole = Reading::new(&samples, sample_rate);
    let mut decoder = Decoder::new(sample_rate);
    let piece = 1 + 37 * usize::from(*piece);
    samples.chunks(piece).for_each(|piece| decoder.push(piece));
    assert_eq!(decoder.finish(), whole, "however it is cut");
    if let Some(reading) = whole {
        check(&reading, &samples);
        if let Some(sent) = sent {
            // what noise has turned is put right only where it is weak, and this code is not
            for word in reading.words() {
                assert!(sent.contains(&word.word.0), "{:?} was not sent", word.word);
            }
        }
    }
});

fn check(reading: &Reading, samples: &[f32]) {
    assert!(reading.words().count() as u64 <= reading.expected());
    assert!((0.0..=1.0).contains(&reading.good()) && (0.0..=1.0).contains(&reading.even));
    assert!(reading.speed() > 0.0 && reading.speed().is_finite());
    for run in &reading.runs {
        assert!(run.words.is_sorted_by(|a, b| a.start < b.start && a.index < b.index));
        let _ = run.pace();
    }
    for word in reading.words() {
        // an uneven speed spreads the places that a word's own is smoothed over, and sigma says so
        let beyond = 1.0 + 6.0 * word.sigma;
        let inside = -beyond..=samples.len() as f64 + beyond;
        assert!(inside.contains(&word.start), "{} ± {} of {}", word.start, word.sigma, samples.len());
        assert!(word.sigma.is_finite() && word.sigma >= 0.0);
    }
}

/// Distances between edges, samples.
fn edges(distances: &[u8]) -> Vec<f32> {
    let mut level = 0.4;
    let mut sound = Vec::new();
    for distance in distances {
        sound.resize(sound.len() + usize::from(*distance), level);
        level = -level;
    }
    sound
}

/// Words (bit 0 first) with their sync words in biphase-mark code.
fn code(words: &[u64], half_cell: usize) -> Vec<f32> {
    const SYNC: u16 = 0b1011_1111_1111_1100;
    let mut level = 0.4;
    let mut sound = Vec::new();
    for word in words {
        let own = (0..64).map(|bit| word >> bit & 1 == 1);
        let sync = (0..16).map(|bit| SYNC >> bit & 1 == 1);
        for one in own.chain(sync) {
            level = -level;
            sound.resize(sound.len() + half_cell, level);
            if one {
                level = -level;
            }
            sound.resize(sound.len() + half_cell, level);
        }
    }
    sound
}
