//! Rows in columns, some thousand at a time: what sums them does so in blocks.

/// Intervals of a full block.
pub(super) const INTERVALS: usize = 4_096;

/// Rows, and the intervals that begin with them.
#[derive(Debug)]
pub(super) struct Block {
    /// Time since the first row, s.
    pub time: Vec<f64>,
    /// To the next row, s: one fewer than rows while a further row may come.
    pub interval: Vec<f64>,
    /// Discharge positive, A.
    pub current: Vec<f64>,
    /// V; empty without voltage.
    pub voltage: Vec<f64>,
    /// °C; empty without a column of it.
    pub ambient: Vec<f64>,
    /// Line of the file.
    pub line: Vec<u64>,
}

impl Block {
    pub fn new() -> Self {
        let room = || Vec::with_capacity(INTERVALS + 1);
        Self {
            time: room(),
            interval: room(),
            current: room(),
            voltage: Vec::new(),
            ambient: Vec::new(),
            line: Vec::with_capacity(INTERVALS + 1),
        }
    }

    /// The current at the end of an interval.
    pub fn next_current(&self, index: usize) -> f64 {
        self.current[(index + 1).min(self.current.len() - 1)]
    }

    /// The voltage at the end of an interval.
    pub fn next_voltage(&self, index: usize) -> f64 {
        self.voltage[(index + 1).min(self.voltage.len() - 1)]
    }

    /// Keeps the last row alone: the first one of the next block.
    pub fn go_on(&mut self) {
        let last = |column: &mut Vec<f64>| {
            if let Some(value) = column.last().copied() {
                column.clear();
                column.push(value);
            }
        };
        last(&mut self.time);
        last(&mut self.current);
        last(&mut self.voltage);
        last(&mut self.ambient);
        self.interval.clear();
        if let Some(line) = self.line.last().copied() {
            self.line.clear();
            self.line.push(line);
        }
    }
}
