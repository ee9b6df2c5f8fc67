//! Two takes in, the place of one on the other's clock by their stamps out, exact to a fraction of a sample.

use crate::take::Take;
use crate::units::LeadPos;

/// Where a follower's take begins on the lead's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    /// The lead position of its sample 0.
    pub offset: LeadPos,
    /// How long both ran, seconds; below 0: how long neither did between them.
    pub overlap_s: f64,
}

impl Place {
    /// The place by the nominal rates of an offset of `offset` lead samples.
    pub fn of_offset(lead: &Take, take: &Take, offset: f64) -> Self {
        let start_s = offset / lead.rate.hz();
        let end_s = (start_s + take.seconds()).min(lead.seconds());
        Self {
            offset: LeadPos(offset),
            overlap_s: end_s - start_s.max(0.0),
        }
    }

    /// How much of the shorter take both share.
    pub fn share(&self, lead: &Take, take: &Take) -> f64 {
        let shorter = lead.seconds().min(take.seconds());
        if shorter > 0.0 {
            self.overlap_s / shorter
        } else {
            0.0
        }
    }
}

/// The place by the stamps, `shift` samples of the follower added to its own. Stamps start again every 24 label-hours, so
/// the day is chosen that makes them overlap most, or come nearest.
pub(super) fn by_stamps(lead: &Take, take: &Take, shift: i64) -> Option<Place> {
    let (a, b) = (lead.stamp.as_ref()?, take.stamp.as_ref()?);
    let counting = a.counting.or(b.counting);
    let lead_rate = i128::from(lead.rate.0.max(1));
    let own_rate = i128::from(take.rate.0.max(1));
    // the day in lead samples: day_num / day_den
    let (day_num, day_den) = match counting {
        Some(counting) => {
            let (num, den) = counting.rate().samples_each(lead.rate.0.max(1));
            (
                i128::from(num) * i128::from(counting.day()),
                i128::from(den),
            )
        }
        None => (86_400 * lead_rate, 1),
    };
    // (b * lead_rate / own_rate - a + days * day) over the common denominator own_rate * day_den
    let common = own_rate * day_den;
    let apart = (i128::from(b.samples) + i128::from(shift)) * lead_rate * day_den
        - i128::from(a.samples) * common;
    let day = day_num * own_rate;
    let nearest = apart - apart.div_euclid(day) * day;
    [nearest - 2 * day, nearest - day, nearest, nearest + day]
        .into_iter()
        .map(|offset| {
            let whole = offset.div_euclid(common);
            let rest = offset.rem_euclid(common) as f64 / common as f64;
            Place::of_offset(lead, take, whole as f64 + rest)
        })
        .max_by(|x, y| {
            let nearer = || y.offset.0.abs().total_cmp(&x.offset.0.abs());
            x.overlap_s.total_cmp(&y.overlap_s).then_with(nearer)
        })
}
