"""The rules that a board is judged by, numbered as on the protocol page, and what a finding is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Verdict = Literal["pass", "fail", "advice", "not seen"]

SECTIONS: Final = {
    "L": "Lines",
    "S": "Samples",
    "H": "Hello",
    "B": "Starts",
    "T": "Time",
    "C": "What it hears",
}
"""First letter of a rule's number to the heading that it stands under."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing that the protocol page asks for."""

    number: str
    title: str
    right: str
    """What would be right, where the title does not say all of it."""
    change: str
    """Where to look in the firmware if it fails."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found about one rule."""

    rule: Rule
    verdict: Verdict
    """`advice`: nothing that the page forbids, but worth a change."""
    received: str
    """What came; for `not seen` why nothing can be said and how to see it."""
    change: str = ""
    """What to change in the firmware, if `received` tells more than the rule knows."""

    def body(self) -> dict[str, str]:
        """For JSON."""
        bad = self.verdict in {"fail", "advice"}
        return {
            "rule": self.rule.number,
            "title": self.rule.title,
            "verdict": self.verdict,
            "received": self.received,
            "right": self.rule.right if bad else "",
            "change": (self.change or self.rule.change) if bad else "",
        }


_ALL: Final = (
    Rule(
        "L1",
        "A line is at most 160 bytes long, its end included.",
        "the longest sample that the page allows has 125 bytes",
        "look for a missing LF, or for debugging text printed on the same port",
    ),
    Rule(
        "L2",
        "A line is printable ASCII.",
        "bytes 0x20 to 0x7E, then the LF",
        "if nothing at all is readable, both sides differ in speed (115200, 8N1); if a few bytes "
        "are bad, look at the cable, the ground, and the board's real speed (within 2 %)",
    ),
    Rule(
        "L3",
        "A line ends with LF; a CR stands directly before it or nowhere.",
        "LF (0x0A), or CR LF",
        "end each line with one LF",
    ),
    Rule(
        "L4",
        "A line ends with a star and the right checksum, in upper case.",
        "four digits 0-9 A-F: CRC-16, polynomial 0x1021, initial value 0xFFFF, not reflected, over "
        "every byte before the star; of '123456789' it is 29B1",
        "if single lines are bad: is one line written while another is under way (an interrupt "
        "that prints), does a buffer overflow, does the cable pick up noise?",
    ),
    Rule(
        "L5",
        "The board sends its own records only: it does not echo what it hears.",
        "S and H, and records of new types with a right checksum",
        "switch off the echo of the board's console, and any text besides the records",
    ),
    Rule(
        "S1",
        "A sample has 9, 10 or 12 fields, each a plain number in its range.",
        "S,boot,seq,clock_us,pulses,edge_us,adc_sum,adc_n,adc_min,adc_max[,valve[,wheel,"
        "wheel_edge_us]]: decimal digits only; boot up to 65535, the others up to 4294967295",
        "look at the format of that field: unsigned, 32 bits, no sign, no space, no point",
    ),
    Rule(
        "S2",
        "seq is one more with each period: never repeated, never set back but by a start.",
        "0, 1, 2, ... up to 4294967295, then 0",
        "count periods in one 32-bit variable, and send each sample once",
    ),
    Rule(
        "S3",
        "clock_us goes on by one period with each seq.",
        "seq x period_ms x 1000, give or take one period and 1/64 of the time since the last line",
        "one clock from the start, in microseconds, never set, wrapping at 2^32; a period that was "
        "missed takes its number with it",
    ),
    Rule(
        "S4",
        "clock_us and edge_us go in steps of 64 us or finer.",
        "1 us from a timer; 64 us at most",
        "read a timer, not a counter of whole milliseconds",
    ),
    Rule(
        "S5",
        "pulses is a total since the start: it never falls.",
        "unsigned 32 bits, wrapping at 4294967295",
        "do not set the count back after sending it; count in 32 bits, not in 16",
    ),
    Rule(
        "S6",
        "edge_us is the clock at the last counted edge.",
        "between the sample before and this one when pulses has moved (a tenth of a period is "
        "tolerated), unchanged while pulses stands still, 0 before the first pulse",
        "store the clock in the interrupt that counts, and copy clock, count and edge together "
        "with interrupts off",
    ),
    Rule(
        "S7",
        "The gauge is read at 1 kHz or faster.",
        "adc_n is 100 or more in a period of 100 ms, and about the same in each sample",
        "read the ADC from a timer, add every reading to the sum",
    ),
    Rule(
        "S8",
        "adc_sum, adc_n, adc_min and adc_max are of the same readings.",
        "adc_n at least 1; adc_n x adc_min <= adc_sum <= adc_n x adc_max; adc_max below "
        "2^adc_bits; without a gauge 0,1,0,0",
        "copy the four with interrupts off, set them back together, and start the lowest at full "
        "scale and the highest at 0; say the true bits of one reading in the hello",
    ),
    Rule(
        "S9",
        "The optional fields are the same in every sample, and those that the hello names.",
        "valve is sent if channels has V, wheel and wheel_edge_us if it has W, and not otherwise; "
        "a reading is there if it has P",
        "send what is fitted, empty what is not, and say the same in channels",
    ),
    Rule(
        "S10",
        "wheel and wheel_edge_us follow the rules of pulses and edge_us.",
        "a total that never falls, and the clock at its last edge",
        "as for the meter's input: count and take the time in the interrupt, copy both together",
    ),
    Rule(
        "S11",
        "A sample comes for each period.",
        "no number left out while somebody listens",
        "a sample that is not sent was blocked: make the output never wait, the buffer one line "
        "longer, the work between two samples shorter. A cable can lose whole lines as well",
    ),
    Rule(
        "H1",
        "A hello has its 9 fields, each in its range.",
        "H,boot,seq,protocol,firmware,board,reset,period_ms,adc_bits,channels: protocol 1; names "
        "of 1 to 16 letters, digits, . _ -; reset one of power, brownout, watchdog, external, "
        "software, unknown; period_ms 1..10000; adc_bits 1..24; channels 1 to 8 different capitals",
        "look at that field",
    ),
    Rule(
        "H2",
        "After a start the board says hello before its first sample.",
        "the hello with seq 0, then the sample with seq 0",
        "send the hello from the same place that starts the samples; an LF before it ends a line "
        "that the restart cut",
    ),
    Rule(
        "H3",
        "The board says hello within 0.5 s of a request.",
        "a line Q*AB24 is answered with a hello",
        "read the line in each turn of the main loop; check the checksum over the letter Q alone",
    ),
    Rule(
        "H4",
        "The board says hello once a minute without being asked.",
        "no more than 60 s between two hellos",
        "count samples since the last hello and send one in time",
    ),
    Rule(
        "H5",
        "seq of a hello is the number of the next sample, and a hello takes the place of none.",
        "hello with seq n, then the sample with seq n",
        "send the number that the next sample will have, not that of the last one",
    ),
    Rule(
        "H6",
        "Hellos and samples tell the same: boot, names, period.",
        "only seq differs from hello to hello between two starts",
        "make both lines from the same variables",
    ),
    Rule(
        "B1",
        "boot stays the same while the board runs and is one more after a start.",
        "after 65535 comes 1; always 0 if the board cannot count its starts",
        "read it once at the start, write it back once, and do not touch it afterwards",
    ),
    Rule(
        "B2",
        "seq, clock and counts begin at 0 with a start.",
        "the first sample has seq 0, and its clock is about one period",
        "clear them at the start, also after a reset by watchdog or software",
    ),
    Rule(
        "B3",
        "The hello tells why the board started.",
        "power, brownout, watchdog, external or software where the chip can tell",
        "read the register of the reset's cause before anything clears it",
    ),
    Rule(
        "T1",
        "clock_us keeps pace with a true clock.",
        "within 1 %; a crystal is within 0.01 %. An error here is an error of the flow",
        "check the clock source and the timer's divider against the chip's real frequency",
    ),
    Rule(
        "T2",
        "Samples leave evenly.",
        "each within half a period of its time",
        "close samples by a timer, not after a pause, and send at once",
    ),
    Rule(
        "C1",
        "The board sends without being spoken to.",
        "samples come before the host has sent a byte",
        "do not wait for the host, nor for its control lines",
    ),
    Rule(
        "C2",
        "Lamp and buzzer patterns do not disturb the samples.",
        "A,lamp,buzzer is taken silently; samples go on in step",
        "switch the outputs from the main loop's clock, without a pause",
    ),
    Rule(
        "C3",
        "A request with a wrong checksum is ignored.",
        "no hello for Q*0000",
        "compare the checksum of each line that is heard before looking at the rest",
    ),
    Rule(
        "C4",
        "Garbage does not disturb the samples, and the next line is understood.",
        "samples go on in step, and a request behind the next LF is answered",
        "bound the input buffer, drop a line that is too long up to its LF, and take no byte as a "
        "command of a console (Ctrl-C, Ctrl-D)",
    ),
)

RULES: Final = {rule.number: rule for rule in _ALL}


def passed(number: str, received: str = "") -> Finding:
    return Finding(RULES[number], "pass", received)


def failed(number: str, received: str, change: str = "") -> Finding:
    return Finding(RULES[number], "fail", received, change)


def advised(number: str, received: str, change: str = "") -> Finding:
    return Finding(RULES[number], "advice", received, change)


def unseen(number: str, why: str) -> Finding:
    return Finding(RULES[number], "not seen", why)
