"""Circuits of the inputs: voltage heads, alternating channels, transducer, lamps."""

from .sheet import Sheet
from .values import DESIGN, of


def voltage_head_transformer():
    s = Sheet(860, 330, "Voltage head A: current-type measuring transformer",
              "Fused mains leads, two high-voltage resistors in each, a rated transformer whose insulation is the barrier, a burden, and the output to the logger.")  # fmt: skip
    r = of("voltage", "transformer_primary_ohm")
    for y, name in ((90, "L"), (220, "N (or L2)")):
        s.terminal(100, y, name, side=-1)
        s.fuse((104, y), (184, y), f"{of('voltage', 'fuse_a')}, HBC")
        s.resistor((184, y), (264, y), r)
        s.resistor((264, y), (344, y), r)
    s.line((344, 90), (400, 90), (400, 107))
    end = s.coil(400, 107, 6)
    s.line(end, (400, 220), (344, 220))
    top = 107
    s.line((470, top), (470, 90), (640, 90))
    end = s.coil(470, top, 6, right=False)
    s.line(end, (470, 220), (640, 220))
    s.barrier(436, 50, 252, "reinforced insulation, CAT III 300 V")
    burden = 2 * DESIGN["voltage"]["transformer_burden_ohm"]
    s.resistor((520, 90), (520, 220), f"{burden} Ω")
    s.resistor((590, 90), (590, 220), "")
    s.text(612, 160, f"{burden} Ω")
    for x in (520, 590):
        s.dot(x, 90)
        s.dot(x, 220)
    s.terminal(644, 90, "SIGNAL", side=1)
    s.terminal(644, 220, "BIAS (from the logger)", side=1)
    s.frame(20, 40, 398, 212, "at mains potential")
    s.note(24, 292, "Transformer: 2 mA : 2 mA, linear to 2 mA. Resistors: high-voltage type, 0.5 W, 1.6 kV each. HBC: high breaking capacity,\n"
                    "500 V or more. Two burden resistors side by side, so that one bad joint does not leave the secondary open.")  # fmt: skip
    return s


def voltage_head_amplifier():
    s = Sheet(900, 460, "Voltage head B: isolating amplifier",
              "Fused mains leads, a divider of four resistors and one, an isolating amplifier with an isolated supply across the barrier, a difference stage, and the output to the logger.")  # fmt: skip
    top = of("voltage", "divider_top_ohm")
    s.terminal(90, 90, "L")
    s.fuse((94, 90), (164, 90), f"{of('voltage', 'fuse_a')}, HBC")
    s.resistor((174, 90), (244, 90), top)
    s.line((164, 90), (174, 90))
    s.resistor((244, 90), (314, 90), top)
    s.line((314, 90), (334, 90), (334, 126), (314, 126))
    s.resistor((314, 126), (244, 126), top, side=-1)
    s.resistor((244, 126), (174, 126), top, side=-1)
    s.line((174, 126), (150, 126), (150, 190), (380, 190))
    s.resistor((310, 190), (310, 290), of("voltage", "divider_bottom_ohm"), side=-1)
    s.dot(310, 190)
    s.capacitor((350, 190), (350, 290), "10 nF")
    s.dot(350, 190)
    s.terminal(90, 290, "N (or L2)")
    s.fuse((94, 290), (174, 290), f"{of('voltage', 'fuse_a')}, HBC")
    s.line((174, 290), (440, 290), (440, 240))
    s.dot(310, 290)
    s.dot(350, 290)
    s.line((380, 190), (410, 190))
    s.frame(14, 40, 458, 370, "at mains potential")
    s.barrier(485, 40, 410, "reinforced insulation, CAT III 300 V")
    s.box(410, 160, 150, 80, "isolating amplifier\n\ngain 8")
    s.box(410, 330, 150, 60, "isolated\nsupply 5 V to 5 V")
    s.line((440, 330), (440, 290))
    s.line((448, 330), (448, 240))
    s.dot(440, 290)
    s.text(452, 276, "5 V", size=11)
    s.text(434, 262, "0 V", "end")
    a, f = of("voltage", "difference_in_ohm"), of("voltage", "difference_feedback_ohm")
    s.resistor((560, 180), (660, 180), a)
    s.resistor((560, 220), (660, 220), a, side=-1)
    s.line((660, 180), (690, 180))
    s.line((660, 220), (690, 220), (690, 212))
    plus, minus, out = s.amplifier(690, 196, plus_top=True)
    s.resistor((675, 180), (675, 100), f, side=-1)
    s.dot(675, 180)
    s.line((675, 100), (675, 90), (800, 90))
    s.terminal(804, 90, "BIAS", side=1)
    s.dot(675, 220)
    s.line((675, 220), (675, 290))
    s.resistor((675, 290), (770, 290), f, side=-1)
    s.line((770, 290), (770, 196))
    s.dot(770, 196)
    s.line(out, (800, 196))
    s.terminal(804, 196, "SIGNAL", side=1)
    s.line((560, 350), (800, 350))
    s.terminal(804, 350, "5 V", side=1)
    s.line((560, 376), (800, 376))
    s.terminal(804, 376, "0 V", side=1)
    s.note(24, 434, "Amplifier: input ±0.25 V, gain 8, reinforced insulation for 300 V in category III. Divider: high-voltage resistors, 1.6 kV each.")
    return s


def alternating_input():
    s = Sheet(940, 520, "Input of an alternating channel",
              "Filter at the connector, gain stage, second-order low-pass stage, filter at the converter's pin; below, the source of the mid-scale voltage.")  # fmt: skip
    s.terminal(84, 110, "SIGNAL")
    s.terminal(84, 240, "BIAS")
    s.resistor((88, 110), (176, 110), of("filter", "input_ohm"))
    s.dot(176, 110)
    s.capacitor((176, 110), (176, 240), of("filter", "input_f"), side=-1)
    s.line((88, 240), (226, 240))
    s.dot(176, 240)
    s.line((176, 110), (250, 110))
    s.dot(212, 110)
    s.line((212, 110), (212, 66))
    s.box(142, 26, 140, 40, "clamps\nto 3.3 V and 0 V")
    plus, minus, out = s.amplifier(250, 126, "A1")
    s.line(out, (340, 126))
    s.dot(330, 126)
    s.line((330, 126), (330, 180))
    s.resistor((330, 180), (226, 180))
    s.text(338, 208, f"R_F  {of('voltage', 'feedback_ohm')} voltage,")
    s.text(338, 224, f"{of('current', 'feedback_ohm')} current")
    s.line(minus, (226, 142), (226, 180))
    s.dot(226, 180)
    s.resistor((226, 180), (226, 240), "")
    s.text(242, 216, f"R_G  {of('voltage', 'ground_ohm')}")
    s.resistor((330, 126), (430, 126), of("filter", "stage_ohm"))
    s.dot(430, 126)
    s.resistor((430, 126), (520, 126), of("filter", "stage_ohm"))
    s.dot(520, 126)
    s.capacitor((520, 126), (520, 240), of("filter", "stage_ground_f"), side=-1)
    s.ground(520, 240)
    s.line((520, 126), (570, 126))
    plus, minus, out = s.amplifier(570, 142, "A2")
    s.line(minus, (556, 158), (556, 200), (650, 200), (650, 142))
    s.line(out, (660, 142))
    s.dot(650, 142)
    s.line((430, 126), (430, 60))
    s.capacitor((430, 60), (650, 60), of("filter", "stage_feedback_f"))
    s.line((650, 60), (650, 142))
    s.resistor((650, 142), (750, 142), of("filter", "pin_ohm"))
    s.dot(750, 142)
    s.capacitor((750, 142), (750, 240), of("filter", "pin_f"), side=-1)
    s.ground(750, 240)
    s.line((750, 142), (790, 142))
    s.pin(790, 142, "26 (27)")
    s.text(790, 172, "voltage (current)")
    # Mid-scale
    s.rail(120, 330, "3.3 V reference")
    s.resistor((120, 330), (120, 400), of("bias", "divider_ohm"), side=-1)
    s.dot(120, 400)
    s.resistor((120, 400), (120, 470), of("bias", "divider_ohm"), side=-1)
    s.ground(120, 470)
    s.line((120, 400), (260, 400))
    s.dot(172, 400)
    s.capacitor((172, 400), (172, 470), of("bias", "capacitor_f"))
    s.ground(172, 470)
    plus, minus, out = s.amplifier(260, 416, "A3")
    s.line(minus, (246, 432), (246, 468), (345, 468), (345, 416))
    s.dot(345, 416)
    s.line(out, (430, 416))
    s.terminal(434, 416, "BIAS, 1.65 V: to both channels and to the sensors", side=1)
    s.note(440, 330, "Two such channels, alike but for R_F. Amplifiers: rail to rail, 3.3 V supply.\n"
                     "Resistors 0.1 %, 25 ppm/K where they set a gain. Capacitors C0G, 2 %.")  # fmt: skip
    return s


def signal_input():
    s = Sheet(940, 620, "Input of the pressure transducer and sense of its supply",
              "Resettable fuse, clamp, shunt for the loop or divider for a ratiometric signal by jumpers, filter, gain stage; below, the divider of the transducer's supply.")  # fmt: skip
    base = 320
    s.terminal(100, 150, "SIGNAL")
    s.terminal(100, base, "0 V")
    s.fuse((104, 150), (184, 150), "60 mA, resets")
    s.line((184, 150), (280, 150))
    s.dot(200, 150)
    s.diode((200, base), (200, 150), "33 V\nclamp", side=-1, kind="zener")
    s.dot(280, 150)
    s.jumper((280, 150), (280, 210), "J1 loop", side=-1)
    s.resistor((280, 210), (280, base), f"{of('signal', 'shunt_ohm')}\n2 × 200 Ω")
    s.resistor((280, 150), (400, 150), of("signal", "ratio_ohm"), side=-1)
    s.line((280, 150), (280, 100))
    s.jumper((280, 100), (400, 100), "J2 loop")
    s.line((400, 100), (400, 150))
    s.dot(400, 150)
    s.jumper((400, 150), (400, 210), "J3 ratio")
    s.resistor((400, 210), (400, base), of("signal", "ratio_ohm"))
    s.resistor((400, 150), (500, 150), of("signal", "filter_ohm"))
    s.dot(500, 150)
    s.capacitor((500, 150), (500, base), of("signal", "filter_f"))
    s.line((500, 150), (590, 150))
    s.dot(540, 150)
    s.line((540, 150), (540, 86))
    s.box(470, 46, 140, 40, "clamps\nto 3.3 V and 0 V")
    plus, minus, out = s.amplifier(590, 166, "A4")
    s.line(out, (670, 166))
    s.dot(670, 166)
    s.line((670, 166), (670, 226))
    s.line(minus, (574, 182), (574, 226))
    s.resistor((670, 226), (574, 226), of("signal", "feedback_ohm"), side=1)
    s.dot(574, 226)
    s.resistor((574, 226), (574, base), of("signal", "ground_ohm"))
    s.resistor((670, 166), (770, 166), of("filter", "pin_ohm"))
    s.dot(770, 166)
    s.capacitor((770, 166), (770, base), of("filter", "pin_f"), side=-1)
    s.line((770, 166), (810, 166))
    s.pin(810, 166, "28")
    s.line((104, base), (770, base))
    for x in (200, 280, 400, 500, 574):
        s.dot(x, base)
    s.ground(660, base)
    # Supplies, one after the other
    for y, name, top in ((420, "SUPPLY +", f"{of('supply_sense', 'loop_top_ohm')} loop, {of('supply_sense', 'ratio_top_ohm')} ratio"),
                         (500, "VSYS", of("supply_sense", "own_top_ohm"))):  # fmt: skip
        s.terminal(100, y, name)
        s.resistor((104, y), (250, y), top)
        s.dot(250, y)
        s.resistor((250, y), (250, y + 56), of("supply_sense", "bottom_ohm"), side=-1)
        s.ground(250, y + 56)
    s.line((250, 420), (300, 420))
    s.line((250, 500), (300, 500), (300, 436))
    s.box(290, 404, 60, 36, "switch")
    s.pin(306, 486, "10")
    s.line((330, 475), (330, 440), dash="3 3")
    s.resistor((350, 420), (420, 420), of("supply_sense", "filter_ohm"))
    s.dot(424, 420)
    s.capacitor((424, 420), (424, 500), of("supply_sense", "filter_f"))
    s.ground(424, 500)
    s.line((420, 420), (450, 420))
    s.pin(450, 420, "29")
    s.line((614, 468), (640, 468))
    s.terminal(610, 468, "SUPPLY +")
    s.box(640, 440, 230, 56, "the logger's own supply\n24 V or 5 V, limited to 25 mA")
    s.line((755, 550), (755, 496), arrow=True)
    s.text(766, 540, "off while the supply fails")
    s.note(40, 604, "4–20 mA: J1 and J2 shut. Ratiometric: J3 shut. Never both. Three wires: SUPPLY +, SIGNAL, 0 V; the loop uses the first two.")
    return s


def lamp_inputs():
    s = Sheet(900, 550, "Lamp inputs: light sensor, and coupler across a lamp",
              "Above, a light-sensitive transistor in front of a lamp pulls the input low. Below, the same input with an opto-coupler fed through two resistors from the lamp's terminals.")  # fmt: skip

    def side(y, x0):
        """Pull-up, stretching capacitor and pin."""
        s.rail(600, y - 66, "3.3 V")
        s.resistor((600, y - 66), (600, y), of("lamp", "pull_up_ohm"))
        s.line((x0, y), (700, y))
        s.dot(600, y)
        s.capacitor((540, y), (540, y + 70), of("lamp", "stretch_f"), side=-1)
        s.dot(540, y)
        s.ground(540, y + 70)
        s.resistor((680, y), (760, y), of("filter", "pin_ohm"))
        s.pin(760, y, "2 to 9")

    side(110, 380)
    s.line((380, 110), (380, 120))
    s.transistor_light(380, 120)
    s.line((380, 180), (380, 190))
    s.ground(380, 190)
    s.circle(170, 150, 24)
    s.line((153, 133), (187, 167))
    s.line((153, 167), (187, 133))
    s.text(170, 200, "lamp of the panel", "middle")
    s.line((210, 120), (300, 120), dash="2 4")
    s.line((210, 180), (300, 180), dash="2 4")
    s.text(256, 106, "shade", "middle")
    s.text(24, 40, "Standard: light sensor, no wire into the panel", bold=True)
    # Coupler
    y = 330
    s.text(24, 270, "Only where no light can be had: coupler across the lamp", bold=True)
    s.terminal(84, y, "lamp 1")
    s.terminal(84, y + 120, "lamp 2")
    s.fuse((88, y), (148, y), of("voltage", "fuse_a"))
    s.resistor((148, y), (212, y), of("lamp", "coupler_ohm"))
    s.resistor((212, y), (276, y), of("lamp", "coupler_ohm"))
    s.fuse((88, y + 120), (148, y + 120), of("voltage", "fuse_a"))
    s.line((148, y + 120), (312, y + 120))
    s.line((276, y), (312, y))
    for x, a, b in ((270, y, y + 120), (312, y + 120, y)):
        s.diode((x, a), (x, b), "", kind="light")
    s.dot(270, y)
    s.dot(270, y + 120)
    s.transistor_light(420, y + 30)
    s.line((420, y + 30), (420, y))
    s.line((420, y + 90), (420, y + 110))
    s.ground(420, y + 110)
    side(y, 420)
    s.barrier(360, y - 20, y + 140, "")
    s.text(360, y + 160, "reinforced insulation", "middle", bold=True, size=12)
    s.frame(14, 288, 332, 186, "")
    s.text(30, y + 60, "at the lamp's potential,\nmains or not")
    s.note(24, 518, "Coupler: two diodes against each other (for AC and DC), transfer ratio 1 or more at 0.3 mA, reinforced insulation, 300 V, category III.\n"
                    "Resistors 1 W, 350 V or more. The coupler unit has its own closed, marked box; it is fitted like a voltage head.")  # fmt: skip
    return s


SHEETS = {
    "voltage-head-transformer": voltage_head_transformer,
    "voltage-head-amplifier": voltage_head_amplifier,
    "alternating-input": alternating_input,
    "signal-input": signal_input,
    "lamp-inputs": lamp_inputs,
}
