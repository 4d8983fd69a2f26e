//! What a person at the machine sees and does, by themselves or by a scenario's hand.

use crate::agenda::{NEVER, Slot};
use crate::at_device::{AtContact, InLoop};
use crate::bench::{Bench, STILL_RPM};
use crate::hands::{HandScript, Movement, Sight};
use crate::part::PartInChuck;
use crate::plant::bar::Bar;
use crate::plant::deposit::{Deposit, Landing};
use crate::plant::flame::Gases;
use crate::plant::gas::LEAST_BURNING_BAR;
use crate::plant::surface::Surface;
use crate::spec::SpecError;
use crate::watching::Watching;
use crate::wiring::{Analogue, Button, Coil, Discrete};

impl Bench {
    pub(crate) fn sight(&self) -> Sight {
        let now = self.now_us;
        let lamps = if self.powered { self.field_io.acting() } else { 0 };
        let lamp_blue = lamps & Coil::LampBlue.mask() != 0;
        // Nobody looks closely at what does not call.
        let wet = lamp_blue && self.flame.is_lit() && self.has_wetted();
        Sight {
            lamp_blue,
            lamp_red: lamps & Coil::LampRed.mask() != 0,
            spindle_turns: self.spindle.rpm(now) >= STILL_RPM,
            supply_open: self.is_on(Coil::GasSupply),
            gauges_zero: self.fuel.value(now).max(self.oxygen.value(now)) < LEAST_BURNING_BAR,
            gas_flows: self.gases() == Gases::Flowing,
            flame: self.flame.is_lit(),
            guard_open: !self.guard_closed,
            at_park: self.carriage.switches(now).park,
            carriage_free: !self.drive.state().has_torque(),
            job_started: false,
            coat_wet: wet,
        }
    }

    /// Whether the coat that the job card has them watch now is wet all along; without a card, the
    /// part near the flame.
    fn has_wetted(&self) -> bool {
        let wet_c = self.spec.heat.wet_c;
        match self.watching.stretch(&self.part.watched_mm) {
            Some((low, high)) => self.bar.lowest_peak_c(low, high) >= wet_c,
            None => self.bar.highest_near_c(self.carriage.torch_mm(self.now_us), 10.0) >= wet_c,
        }
    }

    pub(crate) fn move_hands(&mut self) {
        while let Some(movement) = self.hands.take_due(self.now_us) {
            match movement {
                Movement::KeyOn => self.key_on = true,
                Movement::Press(button) => self.press(button),
                Movement::Release(button) => self.release(button),
                Movement::OpenGuard => self.open_guard(),
                Movement::ShutGuard => self.shut_guard(),
                Movement::Spark => self.spark(),
                Movement::NextTorch => self.mount_next_torch(),
            }
        }
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    pub(crate) fn mount_next_torch(&mut self) {
        let next = self.part.torch_order.get(self.torches_used);
        if let Some(index) = next.and_then(|name| self.spec.torch_index(name)) {
            self.settle_powder();
            self.torch = index;
            self.torches_used += 1;
            self.set_supply();
        }
    }

    /// Lays down who stands at the machine and what is pressed when.
    pub fn follow_script(&mut self, script: &HandScript) {
        self.hands.follow(script);
        self.agenda.set(Slot::Hands, self.hands.next_us().unwrap_or(NEVER));
    }

    /// Somebody presses a button and keeps it pressed.
    pub fn press(&mut self, button: Button) {
        let called = self.powered && self.field_io.acting() & Coil::LampBlue.mask() != 0;
        match button {
            Button::Wet if called && self.flame.is_lit() => {
                self.watching.called_wet(&self.part.watched_mm);
            }
            Button::Start => {
                self.watching.starts_again();
                self.bar.forget_peaks();
            }
            _ => {}
        }
        self.buttons |= button.mask();
        self.chain_changed();
    }

    /// Somebody lets go of a button, or pulls the emergency stop out.
    pub fn release(&mut self, button: Button) {
        self.buttons &= !button.mask();
        self.chain_changed();
    }

    /// Somebody turns the key on.
    pub fn turn_key_on(&mut self) {
        self.key_on = true;
    }

    /// Somebody turns the key off.
    pub fn turn_key_off(&mut self) {
        self.key_on = false;
    }

    /// Somebody opens the guard.
    pub fn open_guard(&mut self) {
        self.guard_closed = false;
        self.chain_changed();
    }

    /// Somebody shuts the guard.
    pub fn shut_guard(&mut self) {
        self.guard_closed = true;
        self.chain_changed();
    }

    /// A technician does something at a contact, or puts it back.
    pub fn at_contact(&mut self, input: Discrete, what: AtContact) {
        self.tampered.set_contact(input, what);
    }

    /// A technician does something in a transmitter's loop, or puts it back.
    pub fn in_loop(&mut self, input: Analogue, what: InLoop) {
        self.tampered.set_loop(input, what);
    }

    /// Somebody turns the chuck by hand at this speed, gear in neutral; 0 holds it still.
    pub fn turn_chuck_by_hand(&mut self, rpm: f64) {
        self.tampered.turn_chuck(self.now_us, rpm);
    }

    pub(crate) fn chain_changed(&mut self) {
        self.judge_chain();
        self.switch_outputs();
    }

    /// Somebody sparks at the torch.
    pub fn spark_by_hand(&mut self) {
        self.spark();
    }

    /// Somebody pushes the carriage to a place, mm; it does not give way while the motor has torque.
    pub fn push_carriage_to(&mut self, z_mm: f64) {
        if !self.drive.state().has_torque() {
            self.settle_powder();
            self.carriage.place_by_hand(z_mm);
            self.settled_mm = self.carriage.torch_mm(self.now_us);
            self.plan_carriage();
        }
    }

    /// Somebody fills the hopper up to this weight, g.
    pub fn fill_hopper(&mut self, hopper_g: f64) {
        self.settle_powder();
        self.powder.set_hopper(hopper_g);
        self.powder.pass(self.now_us);
        self.plan_powder();
    }

    /// Somebody sets the gear lever of the spindle, rpm.
    pub fn set_lever_rpm(&mut self, rpm: f64) {
        self.inverter.set_lever(self.now_us, &mut self.spindle, rpm);
        self.plan_spindle();
    }

    /// Another part in the chuck, bare, with its own job card.
    ///
    /// # Errors
    /// When the part does not fit the bench: see the sentence. The old part then stays.
    pub fn change_part(&mut self, part: &PartInChuck) -> Result<(), SpecError> {
        part.check(&self.spec)?;
        self.put_in(part);
        Ok(())
    }

    /// The part in the chuck has a coat from before: so much powder arrived there with the torch at
    /// each of these places, mm and g.
    pub fn lay(&mut self, arrived: &[(f64, f64)]) {
        self.settle_powder();
        for (torch_mm, grams) in arrived {
            self.deposit.release(*torch_mm, *torch_mm, *grams, Landing::Hot);
        }
    }

    /// Another job card for the part in the chuck, which stays as it is: the person puts in the torch
    /// that it asks for first.
    ///
    /// # Errors
    /// When the bench has no torch of a name on it: see the sentence. The old card then stays.
    pub fn take_job_card(&mut self, card: &PartInChuck) -> Result<(), SpecError> {
        let part = PartInChuck {
            torch_order: card.torch_order.clone(),
            watched_mm: card.watched_mm.clone(),
            ..self.part.clone()
        };
        part.check(&self.spec)?;
        self.part = part;
        self.torches_used = 0;
        self.watching = Watching::default();
        self.mount_next_torch();
        self.hands.new_part();
        Ok(())
    }

    /// Another part like the one in the chuck, bare, by somebody who has shut the guard behind them.
    pub fn next_part(&mut self) {
        self.put_in(&self.part.clone());
        self.shut_guard();
    }

    fn put_in(&mut self, part: &PartInChuck) {
        self.settle_powder();
        let surface = Surface::new(part);
        let travel = self.spec.carriage.travel_mm();
        self.bar = Bar::new(&self.spec.heat, part, &surface);
        self.deposit = Deposit::new(&self.spec.plume, surface, travel);
        self.part = part.clone();
        self.torches_used = 0;
        self.watching = Watching::default();
        self.mount_next_torch();
        self.hands.new_part();
    }
}
