//! # Time as files write it
//!
//! ```text
//! Clock      2026-03-01T12:00:00.25, a space for the T, up to nine decimals, an offset (Z, +02:00) behind it or none
//! Elapsed    hh:mm:ss with decimals, hours without end
//! Range      years 1678 to 2261, whose nanoseconds fit 64 bits
//! Formula    days since 1970-01-01 of the proleptic Gregorian calendar, whole nanoseconds inside
//! Source     ISO 8601-1; the count of days by eras of 400 years, checked against Python's datetime in the tests
//! ```

/// A time in whole nanoseconds, and whether it says an offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Clock {
    pub nanos: i64,
    pub zoned: bool,
}

/// The forms that are read, in words.
pub(super) const FORMS: &str = "a number of seconds, a date as 2026-03-01T12:00:00 (or with a space for the T; decimals, Z or +02:00 may follow), or hh:mm:ss";

/// Whether this is a date or a time of day in another form than those: three groups of digits of which two have no more
/// than two (a thousands sign parts three), or hours and minutes alone.
pub(super) fn is_unread(cell: &[u8]) -> bool {
    if clock(cell).is_some() || elapsed(cell).is_some() {
        return false;
    }
    let word = cell.split(|byte| matches!(byte, b' ' | b'T' | b't')).next().unwrap_or_default();
    let groups = |sign: u8| -> Option<Vec<usize>> {
        let groups = word.split(|byte| *byte == sign);
        groups.map(|digits| whole(digits).map(|_| digits.len())).collect()
    };
    let short = |groups: &[usize]| groups.iter().filter(|digits| **digits <= 2).count();
    let date = |sign| groups(sign).is_some_and(|groups| groups.len() == 3 && short(&groups) >= 2);
    [b'.', b'/', b'-'].into_iter().any(date) || groups(b':').is_some_and(|groups| groups == [2, 2] || groups == [1, 2])
}

/// Date and time of day.
pub(super) fn clock(cell: &[u8]) -> Option<Clock> {
    let (date, rest) = cell.split_at_checked(10)?;
    let [b'T' | b't' | b' ', rest @ ..] = rest else { return None };
    if date[4] != b'-' || date[7] != b'-' {
        return None;
    }
    let (year, month, day) = (whole(&date[..4])?, whole(&date[5..7])?, whole(&date[8..])?);
    let longest = match month {
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if !(1..=longest).contains(&day) {
        return None;
    }
    // What stands behind the time of day: nothing, Z, or a signed offset.
    let end = rest.iter().position(|byte| matches!(byte, b'Z' | b'z' | b'+' | b'-')).unwrap_or(rest.len());
    let (time, zone) = rest.split_at(end);
    let (hours, nanos) = of_day(time)?;
    if hours > 23 {
        return None;
    }
    let offset_s = match zone {
        [] | [b'Z' | b'z'] => 0,
        [sign, zone @ ..] => {
            let (hours, minutes) = match zone {
                [a, b] => (whole(&[*a, *b])?, 0),
                [a, b, c, d] | [a, b, b':', c, d] => (whole(&[*a, *b])?, whole(&[*c, *d])?),
                _ => return None,
            };
            if hours > 23 || minutes > 59 {
                return None;
            }
            let seconds = hours * 3_600 + minutes * 60;
            if *sign == b'+' { seconds } else { -seconds }
        }
    };
    let seconds = days(year, month, day) * 86_400 + hours * 3_600 - offset_s;
    let nanos = seconds.checked_mul(1_000_000_000)?.checked_add(nanos)?;
    Some(Clock { nanos, zoned: !zone.is_empty() })
}

/// Hours, minutes and seconds since the beginning, in nanoseconds.
pub(super) fn elapsed(cell: &[u8]) -> Option<i64> {
    let (hours, nanos) = of_day(cell)?;
    hours.checked_mul(3_600_000_000_000)?.checked_add(nanos)
}

/// Hours, and the nanoseconds of minutes and seconds: `hh:mm:ss` with up to nine decimals.
fn of_day(text: &[u8]) -> Option<(i64, i64)> {
    let hours_end = text.iter().position(|byte| *byte == b':')?;
    let hours = whole(&text[..hours_end]).filter(|_| hours_end <= 7)?;
    let [b':', a, b, b':', c, d, decimals @ ..] = &text[hours_end..] else { return None };
    let (minutes, seconds) = (whole(&[*a, *b])?, whole(&[*c, *d])?);
    let nanos = match decimals {
        [] => 0,
        [b'.' | b',', digits @ ..] if (1..=9).contains(&digits.len()) => {
            whole(digits)? * 10_i64.pow(9 - u32::try_from(digits.len()).ok()?)
        }
        _ => return None,
    };
    (minutes < 60 && seconds < 60).then_some((hours, (minutes * 60 + seconds) * 1_000_000_000 + nanos))
}

fn whole(digits: &[u8]) -> Option<i64> {
    if digits.is_empty() || digits.len() > 9 || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    Some(digits.iter().fold(0, |sum, digit| sum * 10 + i64::from(digit - b'0')))
}

/// Days since 1970-01-01. A year begins with March here, so that the day put in comes last.
fn days(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let (era, of_era) = (year.div_euclid(400), year.rem_euclid(400));
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Python 3.11: `int((datetime.fromisoformat(text) - datetime(1970, 1, 1, tzinfo=utc)).total_seconds())`, decimals
    /// added by hand.
    #[test]
    fn clocks_are_counted_as_by_another_calendar() {
        for (text, seconds, nanos) in [
            ("1970-01-01T00:00:00Z", 0, 0),
            ("2026-11-27T02:06:08Z", 1_795_745_168, 0),
            ("2000-02-29 23:59:59.999999999", 951_868_799, 999_999_999),
            ("1900-03-01T00:00:00+02:00", -2_203_898_400, 0),
            ("2100-02-28T12:00:00,5-0330", 4_107_511_800, 500_000_000),
            ("1969-12-31T23:59:59.25", -1, 250_000_000),
        ] {
            let clock = clock(text.as_bytes()).expect(text);
            assert_eq!(clock.nanos, seconds * 1_000_000_000 + nanos, "{text}");
        }
        assert_eq!(elapsed(b"100:00:01.5"), Some(360_001_500_000_000));
        assert_eq!(elapsed(b"00:00:00,000000001"), Some(1));
    }

    #[test]
    fn dates_in_other_forms_are_told_from_numbers() {
        for text in
            ["27.11.2026 10:00:00", "11/27/26", "27-11-2026", "2026-11-27", "2026-1-1T00:00:00", "9:30", "09:30"]
        {
            assert!(is_unread(text.as_bytes()), "{text}");
        }
        for text in ["", "1.5", "1.234.567", "1,5", "-3", "10:00:00", "a.b.c", "1..2", "192.168.100.1", "3-4"] {
            assert!(!is_unread(text.as_bytes()), "{text}");
        }
    }

    #[test]
    fn what_is_no_time_is_none() {
        for text in [
            "",
            "2026-02-29T00:00:00",
            "1900-02-29T00:00:00",
            "2026-13-01T00:00:00",
            "2026-01-00T00:00:00",
            "2026-01-01",
            "2026-01-01T24:00:00",
            "2026-01-01T00:60:00",
            "2026-01-01T00:00:60",
            "2026-01-01T00:00",
            "2026-01-01T00:00:00.",
            "2026-01-01T00:00:00.1234567890",
            "2026-01-01T00:00:00+1",
            "2026-01-01T00:00:00Zx",
            "2026-1-1T00:00:00",
            "2300-01-01T00:00:00",
            "２026-01-01T00:00:00",
        ] {
            assert_eq!(clock(text.as_bytes()), None, "{text}");
        }
        for text in ["", "1:2:3", "00:00", "00:61:00", "aa:00:00", "12345678:00:00", ":00:00", "00:00:00.1.2"] {
            assert_eq!(elapsed(text.as_bytes()), None, "{text}");
        }
    }
}
