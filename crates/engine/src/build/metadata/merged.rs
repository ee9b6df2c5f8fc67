//! The iXML of all units in, one out: the lead's word counts, and where it says nothing the first follower's that speaks.

use wave::Ixml;

use super::super::plan::Plan;

/// A field that is merged: its name, where it stands, how it reads.
pub(super) struct Merged {
    pub(super) name: &'static str,
    read: fn(&Ixml) -> Option<String>,
    copy: fn(&Ixml, &mut Ixml),
}

/// A field that is text.
macro_rules! text {
    ($name:literal, $field:ident) => {
        Merged {
            name: $name,
            read: |ixml| ixml.$field.clone(),
            copy: |from, to| to.$field.clone_from(&from.$field),
        }
    };
}

/// Every field that is merged. What concerns the very file (identifiers, rates, stamps, track lists) is written anew.
pub(super) const MERGED: [Merged; 7] = [
    text!("project", project),
    text!("tape", tape),
    text!("scene", scene),
    text!("take", take),
    text!("take type", take_type),
    Merged {
        name: "circled",
        read: |ixml| {
            ixml.circled
                .map(|yes| if yes { "yes" } else { "no" }.into())
        },
        copy: |from, to| to.circled = from.circled,
    },
    text!("note", note),
];

impl Merged {
    /// What a document says; empty counts as nothing.
    fn said(&self, ixml: &Ixml) -> Option<String> {
        (self.read)(ixml)
            .map(|text| text.trim().to_string())
            .filter(|text| !text.is_empty())
    }

    /// What every unit says, the lead first; units that say nothing are left out.
    pub(super) fn by_unit<'p>(&self, plan: &'p Plan<'_>) -> Vec<(&'p str, String)> {
        plan.sources
            .iter()
            .filter_map(|source| {
                let ixml = source.files.first()?.1.ixml.as_ref()?;
                Some((source.member.unit.as_str(), self.said(ixml)?))
            })
            .collect()
    }
}

/// The lead's document with what it lacks taken from the followers.
pub(super) fn merged(plan: &Plan<'_>) -> Ixml {
    let documents = || {
        plan.sources
            .iter()
            .filter_map(|source| source.files.first()?.1.ixml.as_ref())
    };
    let mut ixml = super::lead_header(plan).ixml.clone().unwrap_or_default();
    for field in &MERGED {
        if field.said(&ixml).is_none()
            && let Some(other) = documents().find(|other| field.said(other).is_some())
        {
            (field.copy)(other, &mut ixml);
        }
    }
    ixml
}
