//! Four neighbouring channels at four sample positions at a time, between interleaved `f32` bytes and planar `f64`: whole
//! vectors are read and written where single values of every block would be, which takes half the time and less.

/// Channels and positions of a tile.
pub(crate) const SIDE: usize = 4;

/// Bytes of a sample.
const BYTES: usize = 4;

/// Where groups of [`SIDE`] neighbours begin so that all of `count` are covered: the last group overlaps the one before
/// where the number is no multiple. None where there are fewer.
pub(crate) fn groups(count: usize) -> impl Iterator<Item = usize> {
    let last = count.checked_sub(SIDE);
    (0..count)
        .step_by(SIDE)
        .filter_map(move |first| Some(first.min(last?)))
}

/// Decodes four neighbouring channels, the first of which stands at byte `offset` of every block, into as many slices.
/// Says how many positions, a multiple of four; the rest is left to the caller.
#[inline]
pub(crate) fn decode(
    bytes: &[u8],
    block: usize,
    offset: usize,
    out: &mut [&mut [f64]; SIDE],
) -> usize {
    let [a, b, c, d] = out;
    let tiles = a.as_chunks_mut::<SIDE>().0.iter_mut();
    let tiles = tiles.zip(b.as_chunks_mut::<SIDE>().0);
    let tiles = tiles.zip(c.as_chunks_mut::<SIDE>().0);
    let tiles = tiles.zip(d.as_chunks_mut::<SIDE>().0);
    let mut done = 0;
    for ((((a, b), c), d), blocks) in tiles.zip(bytes.chunks_exact(SIDE * block)) {
        let row = |position: usize| -> Option<[f32; SIDE]> {
            let bytes: &[u8; SIDE * BYTES] =
                blocks.get(position * block + offset..)?.first_chunk()?;
            let (values, _) = bytes.as_chunks::<BYTES>();
            Some(std::array::from_fn(|i| f32::from_le_bytes(values[i])))
        };
        let (Some(p), Some(q), Some(r), Some(s)) = (row(0), row(1), row(2), row(3)) else {
            break;
        };
        let turned = |i: usize| [p[i], q[i], r[i], s[i]].map(f64::from);
        (*a, *b, *c, *d) = (turned(0), turned(1), turned(2), turned(3));
        done += SIDE;
    }
    done
}

/// Encodes four neighbouring channels to byte `offset` of every block and the bytes after it. Says how many positions, a
/// multiple of four.
#[inline]
pub(crate) fn encode(
    values: [&[f64]; SIDE],
    bytes: &mut [u8],
    block: usize,
    offset: usize,
) -> usize {
    let [a, b, c, d] = values.map(|plane| plane.as_chunks::<SIDE>().0);
    let tiles = a.iter().zip(b).zip(c).zip(d);
    let mut done = 0;
    for ((((a, b), c), d), blocks) in tiles.zip(bytes.chunks_exact_mut(SIDE * block)) {
        let [a, b, c, d] = [a, b, c, d].map(|tile| tile.map(|value| value as f32));
        for position in 0..SIDE {
            let row = [a[position], b[position], c[position], d[position]];
            let place = blocks.get_mut(position * block + offset..);
            let Some(place) = place.and_then(<[u8]>::first_chunk_mut::<{ SIDE * BYTES }>) else {
                return done;
            };
            for (place, value) in place.as_chunks_mut::<BYTES>().0.iter_mut().zip(row) {
                *place = value.to_le_bytes();
            }
        }
        done += SIDE;
    }
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encode::encode_planar;
    use crate::format::{Encoding, Format};

    #[test]
    fn groups_cover_every_channel() {
        let of = |count| groups(count).collect::<Vec<_>>();
        assert_eq!(of(3), [0; 0]);
        assert_eq!(of(4), [0]);
        assert_eq!(of(6), [0, 2]);
        assert_eq!(of(8), [0, 4]);
        assert_eq!(of(9), [0, 4, 5]);
    }

    #[test]
    fn every_value_keeps_its_place_whatever_the_number_of_channels() {
        for channels in 1..10_u16 {
            let format = Format::plain(channels, 48_000, Encoding::Float32);
            for length in 0..11_usize {
                // the value says where it belongs
                let value = |channel: usize, at: usize| (100 * channel + at) as f32;
                let bytes: Vec<u8> = (0..length)
                    .flat_map(|at| (0..usize::from(channels)).map(move |c| value(c, at)))
                    .flat_map(f32::to_le_bytes)
                    .collect();
                let all: Vec<usize> = (0..channels.into()).collect();
                let backwards: Vec<usize> = all.iter().rev().copied().collect();
                let most = all[usize::from(channels > 4)..].to_vec();
                for wanted in [all, backwards, most] {
                    let mut planes = vec![vec![f64::NAN; length]; wanted.len()];
                    let mut out: Vec<&mut [f64]> =
                        planes.iter_mut().map(Vec::as_mut_slice).collect();
                    let done = format.decode(&bytes, &wanted, &mut out);
                    assert_eq!(done.expect("they fit"), length);
                    for (plane, &channel) in planes.iter().zip(&wanted) {
                        let meant: Vec<f64> =
                            (0..length).map(|at| value(channel, at).into()).collect();
                        assert_eq!(plane, &meant, "{channels} channels, {channel}");
                    }
                    if wanted.len() == usize::from(channels) && wanted[0] == 0 {
                        let planes: Vec<&[f64]> = planes.iter().map(Vec::as_slice).collect();
                        let mut again = vec![7; 5];
                        encode_planar(&format, &planes, &mut again).expect("they fit");
                        assert_eq!(again, bytes);
                    }
                }
            }
        }
    }
}
