//! What is odd about a description, said without refusing it.

use serde::{Deserialize, Serialize};

use super::Word;
use super::words::words;

words! {
    /// Stable code of a finding.
    FindingCode {
        /// The printed power word differs from the power that the ratings imply.
        LabelDiffers = "label_differs",
        /// A long rod is labelled about one class low, as is usual for its length.
        LongRodLabel = "long_rod_label",
        /// The printed range is too wide to be true.
        RangeTooWide = "range_too_wide",
        /// Lower and upper end were swapped; read the other way round.
        BoundsSwapped = "bounds_swapped",
        /// Lure and line rating point to different powers.
        RatingsDisagree = "ratings_disagree",
        /// The unit was missing and had to be guessed.
        UnitAssumed = "unit_assumed",
        /// The unit looks wrong (grams that look like ounces, pounds like kilograms).
        UnitSuspect = "unit_suspect",
        /// A decimal comma was read as a decimal point.
        DecimalComma = "decimal_comma",
        /// A fraction was read as a mixed number ("1 1/2" is one and a half).
        MixedNumber = "mixed_number",
        /// A line number of the PE scale was turned into a diameter and a strength.
        LineNumberConverted = "line_number_converted",
        /// Head and trailer were added up, or the rigged mass is missing.
        RiggedMassComputed = "rigged_mass_computed",
        /// A word outside the closed list was judged as its nearest class.
        NearestWord = "nearest_word",
        /// The species is not in the table and was judged with middling traits.
        UnknownSpecies = "unknown_species",
        /// A printed diameter does not fit the printed strength.
        DiameterSuspect = "diameter_suspect",
        /// A line has been fished for its time, or is too old.
        LineDue = "line_due",
        /// Part of the text could not be read and was left out.
        TextIgnored = "text_ignored",
    }
}

/// Something odd in a description, with what was made of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Stable code.
    pub code: FindingCode,
    /// Path of the field, for example `rod.lure_rating`.
    pub field: String,
    /// One plain sentence.
    pub text: String,
}

impl Finding {
    /// A finding about `field`.
    #[must_use]
    pub fn new(code: FindingCode, field: &str, text: impl Into<String>) -> Self {
        Self { code, field: field.to_owned(), text: text.into() }
    }
}

impl std::fmt::Display for Finding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {} [{}]", self.field, self.text, self.code.as_word())
    }
}
