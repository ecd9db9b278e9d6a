"""Block diagram, supply with hold-up, and what surrounds the processor."""

from .sheet import Sheet
from .values import DESIGN, of


def block():
    s = Sheet(940, 560, "Block diagram of the logger",
              "From left to right: the panel with its sensors, the insulation barrier, the logger's inputs, the processor with memory and clock, and the laptop on USB.")  # fmt: skip
    s.frame(16, 30, 250, 500, "panel and pump, opened dead")
    sensors = (
        ("voltage head\nfused leads, rated CAT III", 62, "alternating input", "GPIO 26"),
        ("clamp\nround one insulated conductor", 138, "alternating input", "GPIO 27"),
        ("pressure transducer\n4–20 mA or ratiometric", 214, "transducer input", "GPIO 28"),
        ("", 290, "supply sense", "GPIO 29"),
        ("light sensors, up to 8\nin front of lamps", 366, "lamp inputs", "GPIO 2 to 9"),
    )
    s.frame(316, 30, 490, 500, "logger, extra-low voltage throughout")
    s.barrier(291, 60, 530, "")
    s.text(291, 20, "reinforced insulation, inside the sensors", "middle", bold=True, size=12)
    for label, y, stage, pin in sensors:
        if label:
            s.box(30, y, 222, 52, label)
            s.line((252, y + 26), (336, y + 26), arrow=True)
        s.box(336, y, 150, 52, f"{stage}\n{pin}")
        s.line((486, y + 26), (556, y + 26), arrow=True)
    s.line((411, 266), (411, 290), arrow=True)
    s.box(556, 62, 120, 356, "processor\n\nconverter\n12 bits\n20 000 a second\nof each input\n\nmeter\nrecorder\njournal")
    s.box(696, 62, 96, 60, "flash\n4 to 32 MiB\nSPI")
    s.box(696, 150, 96, 60, "clock chip\nI²C, battery")
    s.box(696, 238, 96, 44, "status light")
    s.box(696, 310, 96, 60, "USB socket")
    for y in (92, 180, 260, 340):
        s.line((676, y), (696, y))
    s.box(336, 458, 150, 56, "supply\n5 V in, monitor")
    s.box(526, 458, 150, 56, "hold-up\n20 ms to 2 s")
    s.box(696, 458, 96, 56, "reference\n3.3 V")
    s.line((486, 486), (526, 486), arrow=True)
    s.line((676, 486), (696, 486), arrow=True)
    s.line((601, 458), (601, 418), arrow=True)
    s.line((440, 458), (440, 440), (570, 440), (570, 418), arrow=True)
    s.text(450, 434, "GPIO 22")
    s.line((792, 340), (836, 340))
    s.box(836, 310, 90, 60, "laptop\nvisits only")
    s.line((370, 458), (370, 446), (322, 446), (322, 316), (336, 316), arrow=True)
    s.text(328, 412, "", size=11)
    s.box(30, 458, 222, 56, "5 V supply, certified, SELV\nor 5 V battery pack")
    s.line((252, 486), (336, 486), arrow=True)
    return s


def supply():
    s = Sheet(940, 560, "Supply, monitor and hold-up",
              "Two 5 volt inputs through ideal diodes to one node, watched by the monitor; a third ideal diode to the system node with its hold-up capacitors; from there the 3.3 volt regulator and the reference.")  # fmt: skip
    for y, name in ((90, "USB 5 V"), (180, "DC 5 V")):
        s.terminal(84, y, name)
        s.fuse((88, y), (164, y), "0.5 A, resets")
        s.box(214, y - 22, 96, 44, "ideal diode")
        s.line((164, y), (214, y))
        s.line((310, y), (340, y))
        s.diode((176, y + 58), (176, y), "6 V", side=-1, kind="zener")
        s.ground(176, y + 58)
        s.dot(176, y)
    s.line((340, 90), (340, 180))
    s.dot(340, 90)
    s.line((340, 90), (420, 90))
    s.text(352, 80, "VIN", bold=True)
    s.capacitor((340, 180), (340, 240), "10 µF", side=-1)
    s.ground(340, 240)
    s.dot(340, 180)
    s.box(420, 68, 96, 44, "ideal diode")
    s.line((516, 90), (900, 90))
    s.text(530, 80, "VSYS", bold=True)
    # Monitor
    s.dot(390, 90)
    s.line((390, 90), (390, 290))
    s.box(330, 290, 130, 56, f"monitor\n{of('supply', 'monitor_v')}, open drain")
    s.line((460, 318), (560, 318))
    s.pin(560, 318, "22")
    s.dot(500, 318)
    s.rail(500, 258, "3.3 V")
    s.resistor((500, 258), (500, 318), "10 kΩ")
    s.line((430, 346), (430, 400), arrow=True)
    s.text(442, 382, "low: off")
    s.box(330, 400, 200, 56, "transducer supply\n24 V or 5 V, 25 mA limit")
    s.line((364, 290), (364, 262), (300, 262), (300, 428), (330, 428))
    s.line((364, 262), (390, 262))
    s.dot(390, 262)
    s.line((530, 428), (600, 428))
    s.terminal(604, 428, "transducer: SUPPLY +", side=1)
    # Hold-up
    s.dot(640, 90)
    s.resistor((640, 90), (640, 170), of("supply", "charge_ohm"), side=-1)
    s.box(680, 108, 96, 44, "ideal diode")
    s.line((640, 170), (728, 170), (728, 152))
    s.line((728, 108), (728, 90))
    s.dot(728, 90)
    s.dot(640, 170)
    cell = of("supply", "cell_f")
    s.capacitor((640, 170), (640, 220), cell, side=-1, polar=True)
    s.capacitor((640, 220), (640, 270), cell, side=-1, polar=True)
    s.ground(640, 270)
    s.dot(640, 220)
    s.line((640, 220), (700, 220))
    s.box(700, 198, 110, 44, "balancing")
    # Regulator
    s.dot(850, 90)
    s.line((850, 90), (850, 300))
    s.box(785, 300, 130, 44, "regulator 3.3 V")
    s.line((850, 344), (850, 372), arrow=True)
    s.text(850, 390, "3.3 V", "middle", bold=True)
    s.line((900, 90), (926, 90), (926, 440), (915, 440))
    s.box(785, 418, 130, 44, "reference 3.3 V")
    s.line((850, 462), (850, 484), (774, 484))
    s.terminal(770, 484, "ADC_AVDD, bias divider, amplifiers A1 to A4", side=-1)
    p = DESIGN["supply"]
    s.note(24, 526, f"The monitor looks at VIN, before the third ideal diode, so that it trips while the hold-up is still full. Small alternative without an\n"
                    f"erasure during hold-up: {p['plain_f'] * 1e3:.1f} mF, 10 V, straight from VSYS to 0 V in place of resistor, diode, cells and balancing.")  # fmt: skip
    return s


def processor():
    s = Sheet(940, 560, "Processor, memory, clock, USB",
              "The processor in the middle with its pins; flash on SPI and the clock chip on I2C to the right, lamp inputs, monitor and analogue inputs to the left.")  # fmt: skip
    s.rect(380, 40, 200, 460, "#f2f2f2")
    s.text(480, 146, "processor", "middle", bold=True)
    s.text(480, 164, "125 MHz", "middle")
    left = [(70, "2 to 9", "lamps 1 to 8, low while lit"), (95, "10", "switch of the supply sense"), (120, "22", "supply monitor, low while failing"),
            (180, "26", "line voltage"), (220, "27", "motor current"), (260, "28", "transducer signal"),
            (300, "29", "transducer supply, or VSYS"), (360, "ADC_AVDD", "3.3 V reference, 1 Ω and 10 µF + 100 nF"),
            (410, "XIN, XOUT", "12 MHz crystal, 30 ppm"), (460, "program flash", "on its own bus, 2 MiB or more")]  # fmt: skip
    for y, pin, what in left:
        s.line((340, y), (380, y))
        s.text(388, y + 4, pin, bold=True)
        s.text(332, y + 4, what, "end")
    right = [(70, "16"), (95, "17"), (120, "18"), (145, "19"), (220, "20"), (245, "21"), (330, "25"), (400, "USB D+"), (425, "USB D−"), (470, "BOOTSEL")]
    for y, pin in right:
        s.text(572, y + 4, pin, "end", bold=True)
    s.box(740, 50, 170, 112, "memory\nserial NOR, 25 series\n4 to 32 MiB, 3.3 V\nSPI, up to 20 MHz")
    for y, what in ((70, "data out"), (95, "select, 10 kΩ to 3.3 V"), (120, "clock"), (145, "data in")):
        s.line((580, y), (740, y))
        s.text(592, y - 5, what, size=11)
    s.box(740, 196, 170, 74, "clock chip, 68h\ncompensated crystal\n2 ppm")
    for y, what in ((220, "data, 4.7 kΩ to 3.3 V"), (245, "clock, 4.7 kΩ to 3.3 V")):
        s.line((580, y), (740, y))
        s.text(592, y - 5, what, size=11)
    s.line((825, 270), (825, 282))
    s.battery((825, 282), (825, 330), "3 V coin cell\nCR2032")
    s.ground(825, 330)
    s.resistor((580, 330), (660, 330), "1 kΩ")
    s.diode((660, 330), (720, 330), "status", kind="light")
    s.line((720, 330), (730, 330), (730, 345))
    s.ground(730, 345)
    s.resistor((580, 400), (660, 400), "27 Ω")
    s.resistor((580, 425), (660, 425), "27 Ω", side=-1)
    s.box(690, 384, 100, 60, "surge clamps")
    for y in (400, 425):
        s.line((660, y), (690, y))
        s.line((790, y), (830, y))
    s.box(830, 384, 90, 60, "USB socket")
    s.line((580, 470), (640, 470))
    s.text(648, 474, "boot button (image.md)")
    s.note(24, 536, "3.3 V pins of the processor: 100 nF each, 10 µF for all; core supply as its data sheet has it. Debug: two pads and 0 V, reset pad.")
    return s


SHEETS = {"block-diagram": block, "supply": supply, "processor": processor}
