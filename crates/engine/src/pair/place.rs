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

/// How far the lengths of days differ between countings, with room to spare, seconds: 86313.6 s at 30 drop-frame to
/// 86486.4 s at 29.97.
const DAYS_DIFFER_S: f64 = 200.0;

/// Whether the two may have run together by their stamps: quick, and never no when [`by_stamps`] says yes.
pub(super) fn may_run_together(lead: &Take, take: &Take) -> bool {
    let (Some(own_s), Some(lead_s)) = (take.stamp_seconds(), lead.stamp_seconds()) else {
        return false;
    };
    let later_s = match own_s - lead_s {
        later_s @ 0.0..=86_400.0 => later_s,
        later_s @ -86_400.0..0.0 => later_s + 86_400.0,
        // stamps more than a day apart, where every day adds its difference: not for a quick look
        _ => return true,
    };
    let after_lead_s = later_s - lead.seconds();
    let before_lead_s = 86_400.0 - later_s - take.seconds();
    after_lead_s.min(before_lead_s) <= DAYS_DIFFER_S
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

/// By how much the stamps of two takes are wrong, seconds, when the follower's first sample fell `offset_s` after the
/// lead's: positive where the follower's stamp is too early. Within half a day either way; `None` without two stamps.
#[must_use]
pub fn stamps_difference(lead: &Take, take: &Take, offset_s: f64) -> Option<f64> {
    let apart_s = offset_s - by_stamps(lead, take, 0)?.offset.0 / lead.rate.hz();
    let day_s = day_s(lead, take);
    Some(apart_s - (apart_s / day_s).round() * day_s)
}

/// The lead's time at the follower's first sample, seconds, when its stamps are wrong by `difference_s` as
/// [`stamps_difference`] counts it; `None` when the two then did not run together.
#[must_use]
pub fn placed_by_difference(lead: &Take, take: &Take, difference_s: f64) -> Option<f64> {
    let shift = (difference_s * take.rate.hz()).round() as i64;
    let place = by_stamps(lead, take, shift)?;
    (place.overlap_s >= super::SHORTEST_OVERLAP_S).then(|| place.offset.0 / lead.rate.hz())
}

/// How long it takes until labels start again, seconds.
fn day_s(lead: &Take, take: &Take) -> f64 {
    let stamps = [lead, take].map(|take| take.stamp.as_ref());
    let counting = stamps
        .into_iter()
        .flatten()
        .find_map(|stamp| stamp.counting);
    counting.map_or(86_400.0, |counting| {
        counting.day() as f64 / counting.rate().per_second()
    })
}
