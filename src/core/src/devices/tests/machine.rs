//! Stand-in devices for the tests. Frames and registers are served by an independent library;
//! the behaviour behind them is as simple as the tests allow.

use rmodbus::ModbusProto;
use rmodbus::server::ModbusFrame;
use rmodbus::server::context::ModbusContext;
use rmodbus::server::storage::ModbusStorage;

type Storage = ModbusStorage<64, 64, 32, 0x240>;

/// Answers a frame from a store of registers; `None` when the library would stay silent.
fn serve(storage: &mut Storage, unit: u8, frame: &[u8]) -> Option<Vec<u8>> {
    let mut response = Vec::new();
    let mut server = ModbusFrame::new(unit, frame, ModbusProto::Rtu, &mut response);
    server.parse().unwrap();
    if server.processing_required {
        if server.readonly {
            server.process_read(storage).unwrap();
        } else {
            server.process_write(storage).unwrap();
        }
    }
    if !server.response_required {
        return None;
    }
    server.finalize_response().unwrap();
    Some(response)
}

fn low_word(long: u32) -> u16 {
    u16::try_from(long & 0xFFFF).unwrap()
}

/// The field I/O module.
pub(crate) struct Module {
    pub(crate) storage: Box<Storage>,
    /// Its cycle counter stands still.
    pub(crate) stuck: bool,
    /// Every change of the powder coil: (when, level).
    pub(crate) powder: Vec<(u64, bool)>,
}

impl Module {
    pub(crate) fn new() -> Self {
        let mut storage = Box::new(Storage::new());
        for input in 0..31 {
            storage.set_discrete(input, true).unwrap();
        }
        for register in 0..10 {
            storage.set_input(register, 12_000).unwrap();
        }
        // 31.5 rpm at 8 pulses a turn: 238,095 us.
        storage.set_input(10, 3).unwrap();
        storage.set_input(11, 41_487).unwrap();
        storage.set_input(13, 100).unwrap();
        Self { storage, stuck: false, powder: Vec::new() }
    }

    pub(crate) fn coil(&self, coil: u16) -> bool {
        self.storage.get_coil(coil).unwrap()
    }

    /// A request complete at `complete` us (3.5 characters after its end).
    pub(crate) fn answer(&mut self, complete: u64, frame: &[u8]) -> Option<Vec<u8>> {
        if !self.stuck {
            let cycle = u16::try_from(complete / 250 % 65_536).unwrap();
            self.storage.set_input(14, cycle).unwrap();
        }
        let before = self.coil(0);
        let reply = serve(&mut self.storage, 1, frame);
        if self.coil(0) != before {
            self.powder.push((complete + 250, !before));
        }
        reply
    }
}

/// The carriage drive: moves at its profile velocity without ramps.
pub(crate) struct Drive {
    pub(crate) storage: Box<Storage>,
    pub(crate) state: u16,
    pub(crate) position: f64,
    pub(crate) target: f64,
    moving: bool,
    homing: bool,
    pub(crate) homed: bool,
    control: u16,
    acknowledge: bool,
    updated: u64,
    /// Set-points taken: each is an edge of control bit 4 in profile position.
    pub(crate) set_points: u32,
    /// Power states walked through, by status word.
    pub(crate) walked: Vec<u16>,
}

/// Status words of the power states, from the state table of CiA 402 / IEC 61800-7-201.
pub(crate) const DISABLED: u16 = 0x0250;
pub(crate) const READY: u16 = 0x0231;
pub(crate) const SWITCHED_ON: u16 = 0x0233;
pub(crate) const ENABLED: u16 = 0x0237;
pub(crate) const STOPPED: u16 = 0x0217;
pub(crate) const FAULT: u16 = 0x0218;

impl Drive {
    pub(crate) fn new() -> Self {
        let mut storage = Box::new(Storage::new());
        storage.set_holding(0x0201, 1).unwrap();
        storage.set_holding(0x020C, 500).unwrap();
        Self {
            storage,
            state: DISABLED,
            position: 0.0,
            target: 0.0,
            moving: false,
            homing: false,
            homed: false,
            control: 0,
            acknowledge: false,
            updated: 0,
            set_points: 0,
            walked: vec![DISABLED],
        }
    }

    fn long(&self, register: u16) -> u32 {
        let word = |at| u32::from(self.storage.get_holding(at).unwrap());
        word(register) << 16 | word(register + 1)
    }

    /// The whole pulses of the position.
    #[expect(clippy::cast_possible_truncation, reason = "the tests stay within the travel")]
    fn pulses(&self) -> i32 {
        self.position as i32
    }

    pub(crate) fn velocity(&self) -> u32 {
        self.long(0x0204)
    }

    pub(crate) fn become_(&mut self, state: u16) {
        if self.state != state {
            self.state = state;
            self.walked.push(state);
        }
        if state != ENABLED {
            self.moving = false;
        }
    }

    pub(crate) fn advance(&mut self, now: u64) {
        let step = (now - self.updated) as f64 * 1e-6;
        self.updated = now;
        if !self.moving {
            return;
        }
        let speed = if self.homing { self.long(0x020E) } else { self.velocity() };
        let target = if self.homing { 0.0 } else { self.target };
        let way = target - self.position;
        let reach = f64::from(speed) * step;
        if way.abs() <= reach {
            self.position = target;
            self.moving = false;
            self.homed |= self.homing;
        } else {
            self.position += reach * way.signum();
        }
    }

    fn obey(&mut self, control: u16) {
        let rising = control & !self.control;
        self.control = control;
        let state = match (self.state, control) {
            (FAULT, _) if rising & 0x80 != 0 => DISABLED,
            (FAULT, _) => FAULT,
            (_, c) if c & 0x0082 == 0 => DISABLED,
            (ENABLED, c) if c & 0x0006 == 0x0002 => STOPPED,
            (STOPPED, _) => STOPPED,
            (DISABLED, c) if c & 0x0087 == 0x0006 => READY,
            (READY, c) if c & 0x008F == 0x0007 => SWITCHED_ON,
            (SWITCHED_ON, c) if c & 0x008F == 0x000F => ENABLED,
            (state, _) => state,
        };
        self.become_(state);
        let mode = self.storage.get_holding(0x0201).unwrap();
        if control & 0x10 == 0 {
            self.acknowledge = false;
        }
        if self.state == ENABLED && rising & 0x10 != 0 {
            self.homing = mode == 6;
            self.moving = true;
            if mode == 1 {
                self.set_points += 1;
                self.target = f64::from(self.long(0x0202).cast_signed());
                self.acknowledge = true;
            } else {
                self.homed = false;
            }
        }
        if control & 0x100 != 0 {
            self.moving = false;
        }
    }

    pub(crate) fn answer(&mut self, complete: u64, frame: &[u8]) -> Option<Vec<u8>> {
        self.advance(complete);
        let mode = self.storage.get_holding(0x0201).unwrap();
        let attained = if mode == 6 { self.homed && !self.moving } else { self.acknowledge };
        let status = self.state | u16::from(!self.moving) << 10 | u16::from(attained) << 12;
        let position = self.pulses().cast_unsigned();
        let set = [
            status,
            mode,
            low_word(position >> 16),
            low_word(position),
            0,
            0,
            if self.state == FAULT { 0x8130 } else { 0 },
            7,
            0,
            0,
            u16::try_from(complete / 1_000 % 65_536).unwrap(),
            u16::from(self.homed),
        ];
        self.storage.set_holdings_bulk(0x0100, &set).unwrap();
        let reply = serve(&mut self.storage, 1, frame);
        let control = self.storage.get_holding(0x0200).unwrap();
        if control != self.control {
            self.obey(control);
        }
        reply
    }
}

/// The spindle inverter.
pub(crate) struct Inverter {
    pub(crate) storage: Box<Storage>,
    pub(crate) latch: bool,
    pub(crate) fault: bool,
    /// Writes of its settings.
    pub(crate) commissioned: u32,
}

impl Inverter {
    pub(crate) fn new() -> Self {
        let mut storage = Box::new(Storage::new());
        storage.set_holdings_bulk(0x0012, &[1_000, 1, 120]).unwrap();
        Self { storage, latch: true, fault: false, commissioned: 0 }
    }

    pub(crate) fn command(&self) -> u16 {
        self.storage.get_holding(0x0010).unwrap()
    }

    pub(crate) fn answer(&mut self, _complete: u64, frame: &[u8]) -> Option<Vec<u8>> {
        let running = self.command() & 1 == 1 && self.latch && !self.fault;
        let status =
            1 | u16::from(running) << 1 | u16::from(self.fault) << 3 | u16::from(self.latch) << 4;
        self.storage.set_holding(0x0020, status).unwrap();
        if frame[1] == 0x10 && frame[3] == 0x12 {
            self.commissioned += 1;
        }
        serve(&mut self.storage, 2, frame)
    }
}
