//! A label, user bits and flags in, the 80 bits of one LTC word out, and back (SMPTE ST 12-1, 9.2 and table 3; every
//! field least significant bit first).

use std::fmt;

use super::user_bits::UserBits;
use crate::{Counting, Digits, Label};

/// Bits 64 to 79, bit 64 the least significant: 0011 1111 1111 1101 in the order they are sent (ST 12-1, 9.2.5).
pub(super) const SYNC: u16 = 0xBFFC;

/// Bits in a word.
pub(super) const BITS: usize = 80;

/// The bits of the time address: what must be right for a label to be right.
pub(super) const TIME: u64 = 0x030F_070F_070F_030F;

/// Which layout the flags have: bits 27, 43 and 59 mean other things at 25 timecode frames a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// 24 and 30 timecode frames a second: 27 is the polarity bit, 43, 58 and 59 are the binary group flags 0, 1 and 2.
    Of24And30,
    /// 25 timecode frames a second: 59 is the polarity bit, 27, 58 and 43 are the binary group flags 0, 1 and 2.
    Of25,
}

impl Layout {
    /// The layout at a count of timecode frames a second; frame pairs of 48, 50 and 60 are sent as 24, 25 and 30.
    #[must_use]
    pub fn of(counting: Counting) -> Self {
        match counting.rate().nominal() {
            25 | 50 => Self::Of25,
            _ => Self::Of24And30,
        }
    }

    /// The bits of the binary group flags 0, 1 and 2.
    fn flags(self) -> [u32; 3] {
        match self {
            Self::Of24And30 => [43, 58, 59],
            Self::Of25 => [27, 58, 43],
        }
    }

    fn polarity(self) -> u32 {
        match self {
            Self::Of24And30 => 27,
            Self::Of25 => 59,
        }
    }
}

/// Bits 0 to 63 of a word, bit 0 the least significant; the sync word follows them always.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Word(pub u64);

impl fmt::Debug for Word {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Word({:016x})", self.0)
    }
}

impl Word {
    /// The word of a label. At 48, 50 and 60 timecode frames a second it is that of the pair the label belongs to (ST
    /// 12-1, 12). The polarity bit makes the number of zeros even (9.2.3).
    #[must_use]
    pub fn new(label: Label, user_bits: UserBits, colour: bool) -> Self {
        let counting = label.counting();
        let layout = Layout::of(counting);
        let digits = label.digits();
        let pair = u8::from(counting.rate().nominal() > 30) + 1;
        let mut bits = 0_u64;
        let fields = [
            (0, digits.frames / pair),
            (16, digits.seconds),
            (32, digits.minutes),
            (48, digits.hours),
        ];
        for (at, value) in fields {
            bits |= u64::from(value % 10) << at | u64::from(value / 10) << (at + 8);
        }
        bits |= u64::from(counting.drop_frame()) << 10 | u64::from(colour) << 11;
        for (group, value) in user_bits.groups.into_iter().enumerate() {
            bits |= u64::from(value & 0xF) << (8 * group + 4);
        }
        for (flag, bit) in layout.flags().into_iter().enumerate() {
            bits |= u64::from(user_bits.flags >> flag & 1) << bit;
        }
        // 64 bits and a sync word of three zeros: without its own one the number of zeros is odd
        if bits.count_zeros().is_multiple_of(2) {
            bits |= 1 << layout.polarity();
        }
        Self(bits)
    }

    /// One bit of all 80.
    #[must_use]
    pub fn bit(self, at: usize) -> bool {
        if at < 64 {
            self.0 >> at & 1 == 1
        } else {
            SYNC >> (at - 64).min(15) & 1 == 1
        }
    }

    /// The ten octets of the word, sync word included, each with its first bit the least significant.
    #[must_use]
    pub fn octets(self) -> [u8; 10] {
        let mut octets = [0; 10];
        octets[..8].copy_from_slice(&self.0.to_le_bytes());
        octets[8..].copy_from_slice(&SYNC.to_le_bytes());
        octets
    }

    /// The label's digits, of a frame pair the pair's; `None` when they are none: above 9 or beyond 23:59:59:29.
    #[must_use]
    pub fn digits(self) -> Option<Digits> {
        let field = |at: u32, tens: u64, below: u64| {
            let (units, tens) = (self.0 >> at & 0xF, self.0 >> (at + 8) & tens);
            let value = 10 * tens + units;
            (units < 10 && value < below).then_some(value as u8)
        };
        Some(Digits {
            frames: field(0, 3, 30)?,
            seconds: field(16, 7, 60)?,
            minutes: field(32, 7, 60)?,
            hours: field(48, 3, 24)?,
        })
    }

    /// Bit 10: the drop-frame flag at 30 timecode frames a second; generators set it wrongly, so the count decides.
    #[must_use]
    pub fn drop_flag(self) -> bool {
        self.bit(10)
    }

    /// Bit 11: locked to a video signal's colour sequence.
    #[must_use]
    pub fn colour_flag(self) -> bool {
        self.bit(11)
    }

    /// The user bits with their flags.
    #[must_use]
    pub fn user_bits(self, layout: Layout) -> UserBits {
        let mut groups = [0; 8];
        for (group, value) in groups.iter_mut().enumerate() {
            *value = (self.0 >> (8 * group + 4) & 0xF) as u8;
        }
        let bits = layout.flags().into_iter().enumerate();
        let flags = bits.fold(0, |all, (flag, bit)| {
            all | u8::from(self.bit(bit as usize)) << flag
        });
        UserBits { groups, flags }
    }

    /// Whether the word has an even number of zeros, so that every word begins with the same polarity (ST 12-1, 9.2.3).
    #[must_use]
    pub fn is_even(self) -> bool {
        (self.0.count_zeros() + SYNC.count_zeros()).is_multiple_of(2)
    }
}
