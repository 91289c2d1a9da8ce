//! How the times of a table are written that some other program made: a format in the signs of strftime.
//!
//! What does not live here: what a local time means in the site's zone (`zone`), and which columns hold it (`mapping`).

use chrono::format::{Fixed, Item, Numeric, StrftimeItems};
use chrono::{DateTime, NaiveDate, NaiveDateTime, SecondsFormat};

/// How a date and a time of day are written, in the signs of strftime.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimeFormat {
    text: String,
    has_offset: bool,
}

/// Why a text is no such format.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadTimeFormat {
    #[error("a % that is followed by nothing that is known")]
    Sign,
    #[error("a sign that names no instant of a site, like %s or %Z")]
    Unfit,
    #[error("a format that does not tell the day and the minute")]
    Vague,
}

impl TimeFormat {
    /// Takes a text like `%d.%m.%Y %H:%M`. It must tell day, hour and minute; `%z` for the offset from UTC is known too.
    pub fn new(text: &str) -> Result<Self, BadTimeFormat> {
        let items: Vec<Item> = StrftimeItems::new(text).collect();
        if items.iter().any(|item| matches!(item, Item::Error)) {
            return Err(BadTimeFormat::Sign);
        }
        if items
            .iter()
            .any(|item| matches!(item, Item::Numeric(Numeric::Timestamp, _) | Item::Fixed(Fixed::TimezoneName)))
        {
            return Err(BadTimeFormat::Unfit);
        }
        let has_offset = items.iter().any(|item| {
            use Fixed::*;
            matches!(
                item,
                Item::Fixed(
                    TimezoneOffset | TimezoneOffsetColon | TimezoneOffsetColonZ | TimezoneOffsetZ | RFC2822 | RFC3339
                )
            )
        });
        let format = Self { text: text.to_owned(), has_offset };
        // A day after the twelfth in the afternoon: day and month, and the halves of the day, cannot be taken for each other.
        let sample = NaiveDate::from_ymd_opt(2026, 11, 23).and_then(|day| day.and_hms_opt(21, 47, 0));
        let sample = sample.ok_or(BadTimeFormat::Vague)?;
        let written = sample.and_utc().fixed_offset().format(text).to_string();
        match format.parse(&written) {
            Some((local, _)) if local == sample => Ok(format),
            _ => Err(BadTimeFormat::Vague),
        }
    }

    /// The time that a text writes, in a form that is read without a format: RFC 3339 where the offset is told, else local.
    pub fn read(&self, text: &str) -> Option<String> {
        let (local, at) = self.parse(text)?;
        Some(match at {
            Some(at) => at.to_rfc3339_opts(SecondsFormat::AutoSi, true),
            None => local.format("%Y-%m-%d %H:%M:%S%.f").to_string(),
        })
    }

    /// 21:47 on 23 November 2026 as it would be written.
    pub fn example(&self) -> String {
        let sample = NaiveDate::from_ymd_opt(2026, 11, 23).and_then(|day| day.and_hms_opt(21, 47, 0));
        sample.map(|at| at.and_utc().fixed_offset().format(&self.text).to_string()).unwrap_or_default()
    }

    fn parse(&self, text: &str) -> Option<(NaiveDateTime, Option<DateTime<chrono::FixedOffset>>)> {
        if self.has_offset {
            let at = DateTime::parse_from_str(text, &self.text).ok()?;
            Some((at.naive_local(), Some(at)))
        } else {
            Some((NaiveDateTime::parse_from_str(text, &self.text).ok()?, None))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_format_tells_day_and_minute() {
        for (format, text, read) in [
            ("%d.%m.%Y %H:%M", "04.03.2026 10:30", "2026-03-04 10:30:00"),
            ("%d.%m.%y %H:%M:%S", "4.3.26 9:30:15", "2026-03-04 09:30:15"),
            ("%m/%d/%Y %I:%M %p", "03/04/2026 12:30 AM", "2026-03-04 00:30:00"),
            ("%Y%m%dT%H%M%S%z", "20260304T103000+0100", "2026-03-04T10:30:00+01:00"),
            ("%d %b %Y %H:%M:%S%.f", "4 Mar 2026 10:30:00.25", "2026-03-04 10:30:00.250"),
        ] {
            let known = TimeFormat::new(format).unwrap_or_else(|bad| panic!("{format}: {bad}"));
            assert_eq!(known.read(text).as_deref(), Some(read), "{format}");
            assert!(known.read(&known.example()).is_some(), "{format}");
            assert_eq!(known.read("yesterday"), None);
        }
        for (format, bad) in [
            ("%d.%m.%Y", BadTimeFormat::Vague),
            ("%H:%M", BadTimeFormat::Vague),
            ("%d.%m.%Y %I:%M", BadTimeFormat::Vague),
            ("", BadTimeFormat::Vague),
            ("%d.%m.%Y %H:%M %", BadTimeFormat::Sign),
            ("%s", BadTimeFormat::Unfit),
            ("%d.%m.%Y %H:%M %Z", BadTimeFormat::Unfit),
        ] {
            assert_eq!(TimeFormat::new(format), Err(bad), "{format}");
        }
    }
}
