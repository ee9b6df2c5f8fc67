//! The `iXML` chunk: payload bytes in, [`Ixml`] out, and back. The iXML specification (v3, 2021): root `BWFXML`,
//! everything optional, unknown elements kept.

mod decode;
mod tree;
mod read;
mod write;

pub use read::parse_rate;
pub use tree::Node;

/// What an iXML document says.
///
/// Where it contradicts `fmt ` or `bext`, those win (independent transcriptions of the iXML specification).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ixml {
    /// Version of the specification it follows, such as `2.0`; compare numerically.
    pub version: Option<String>,
    /// Name of the production.
    pub project: Option<String>,
    /// Scene, such as `32A`.
    pub scene: Option<String>,
    /// Take, such as `3` or `WT1`.
    pub take: Option<String>,
    /// Sound roll; it tells two days with equal times of day apart.
    pub tape: Option<String>,
    /// Kind of take, a comma list such as `DEFAULT` or `WILD_TRACK,NO_GOOD`.
    pub take_type: Option<String>,
    /// Whether the take is marked as good: present with the text FALSE is false.
    pub circled: Option<bool>,
    /// Free text.
    pub note: Option<String>,
    /// Unique for every physical file.
    pub file_uid: Option<String>,
    /// The timecode's user bits, eight hexadecimal digits.
    pub ubits: Option<String>,
    /// Rates and the stamp.
    pub speed: Speed,
    /// Where the file comes from.
    pub history: History,
    /// The files it belongs to.
    pub file_set: Option<FileSet>,
    /// Marked places.
    pub sync_points: Vec<SyncPoint>,
    /// The tracks in the order of the document.
    pub tracks: Vec<Track>,
    /// How many tracks the document says there are; read, not written: `tracks` counts.
    pub track_count: Option<u32>,
    /// All other elements under the root, in order.
    pub others: Vec<Node>,
    /// The text as it was read; empty for a document of our own. Not written.
    pub raw: String,
}

/// The `SPEED` element.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Speed {
    /// Free text.
    pub note: Option<String>,
    /// Frame rate of the picture the sound belongs to, as a fraction.
    pub master_speed: Option<(u32, u32)>,
    /// Frame rate at which it was recorded, as a fraction.
    pub current_speed: Option<(u32, u32)>,
    /// Rate of the timecode frames, as a fraction.
    pub timecode_rate: Option<(u32, u32)>,
    /// Whether timecode drops labels (`DF`) or not (`NDF`); absent means not.
    pub drop_frame: Option<bool>,
    /// Copy of the `fmt ` rate.
    pub file_sample_rate: Option<u32>,
    /// Copy of the `fmt ` bits.
    pub audio_bit_depth: Option<u32>,
    /// The true word clock.
    pub digitizer_sample_rate: Option<u32>,
    /// The stamp: the first sample since midnight, in samples at `timestamp_sample_rate`.
    pub timestamp_samples_since_midnight: Option<u64>,
    /// The rate the stamp counts in.
    pub timestamp_sample_rate: Option<u32>,
    /// All other elements of `SPEED`.
    pub others: Vec<Node>,
}

/// The `HISTORY` element.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    /// The name the recorder gave.
    pub original_filename: Option<String>,
    /// The name of the file it was made from.
    pub parent_filename: Option<String>,
    /// The `FILE_UID` of the file it was made from.
    pub parent_uid: Option<String>,
    /// All other elements of `HISTORY`.
    pub others: Vec<Node>,
}

/// The `FILE_SET` element: files that belong together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FileSet {
    /// How many they are.
    pub total_files: Option<u32>,
    /// Unique for the set.
    pub family_uid: Option<String>,
    /// Name of the set.
    pub family_name: Option<String>,
    /// Which one of them: 1, 2 ... for single channels, A, B ... for several of many channels.
    pub file_set_index: Option<String>,
    /// Start of the set in samples since midnight.
    pub start_time: Option<u64>,
    /// All other elements of `FILE_SET`.
    pub others: Vec<Node>,
}

/// One `SYNC_POINT`: a marked place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SyncPoint {
    /// `RELATIVE` (samples from the start of the file) or `ABSOLUTE` (samples since midnight).
    pub kind: String,
    /// What it is for, such as `SLATE_GENERIC`.
    pub function: String,
    /// Free text.
    pub comment: String,
    /// The place, from its low and high words.
    pub position: u64,
    /// Samples it spans; 0 for a point.
    pub duration: u64,
}

/// One `TRACK`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Track {
    /// The recorder's channel, counted from 1.
    pub channel_index: Option<u32>,
    /// The place among the channels of this file, counted from 1: this ties the name to the audio.
    pub interleave_index: Option<u32>,
    /// The name.
    pub name: Option<String>,
    /// The function word, such as `M-MID_SIDE`.
    pub function: Option<String>,
    /// All other elements of `TRACK`.
    pub others: Vec<Node>,
}

impl Ixml {
    /// The name of the channel that stands at `interleave` (counted from 1) in the file.
    #[must_use]
    pub fn channel_name(&self, interleave: u32) -> Option<&str> {
        let track = self
            .tracks
            .iter()
            .find(|track| track.interleave_index == Some(interleave))?;
        track.name.as_deref()
    }
}
