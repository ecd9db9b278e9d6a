"""At the site and on the bench: where things are fitted, and how a logger is calibrated."""

from .sheet import Sheet


def fitting():
    s = Sheet(940, 600, "Where the sensors go",
              "Above, the electrical line from supply to motor: voltage tap on the supply side of the switch, clamp round one conductor. Below, the pipe from pump to tank with the transducer.")  # fmt: skip
    s.text(24, 30, "Electrical side, one line shown", bold=True)
    s.box(30, 70, 110, 50, "supply\nmain switch")
    s.line((140, 95), (200, 95))
    s.box(200, 70, 110, 50, "isolator\nlocked, tagged")
    s.line((310, 95), (470, 95))
    s.dot(390, 95)
    s.box(470, 70, 130, 50, "contactor,\nswitch or drive", bold_first=False)
    s.line((600, 95), (800, 95))
    s.circle(830, 95, 30)
    s.text(830, 100, "M", "middle", bold=True, size=18)
    s.text(830, 146, "pump motor", "middle")
    # Tap
    s.fuse((390, 95), (390, 170), "fused at the tap")
    s.box(315, 170, 150, 46, "voltage head\nCAT III")
    s.line((390, 216), (390, 280), arrow=True)
    s.text(300, 62, "tap on the SUPPLY side", "middle", size=12)
    # Clamp
    s.shape('<ellipse cx="690" cy="95" rx="13" ry="30" stroke-width="4"/>')
    s.line((676, 55), (706, 55), arrow=True)
    s.text(690, 46, "arrow towards the motor", "middle", size=12)
    s.line((690, 125), (690, 280), arrow=True)
    s.text(700, 168, "clamp, ONE insulated conductor")
    s.text(700, 186, "(with a drive: on its input)", size=12)
    s.box(250, 280, 500, 64, "logger\nin its own box beside the panel, cables by glands;\nUSB reached without opening the panel")
    # Lamps
    s.circle(220, 180, 16)
    s.line((209, 169), (231, 191))
    s.line((209, 191), (231, 169))
    s.text(190, 230, "panel lamps: light\nsensor in front", "middle")
    s.line((220, 252), (220, 300), (250, 300), arrow=True)
    # Hydraulic side
    y = 480
    s.text(24, 400, "Hydraulic side, pressure relieved before anything is opened", bold=True)
    s.circle(90, y, 30)
    s.polygon((78, y - 16), (78, y + 16), (112, y), fill="#e6e6e6")
    s.text(90, y + 54, "pump", "middle")
    for dy in (-6, 6):
        s.line((120, y + dy), (240, y + dy))
        s.line((300, y + dy), (860, y + dy))
    s.polygon((240, y - 18), (240, y + 18), (300, y - 18), (300, y + 18), fill="#e6e6e6")
    s.text(270, y + 44, "check valve", "middle")
    s.line((530, y - 6), (530, y - 44))
    s.box(475, y - 76, 110, 32, "transducer", bold_first=False)
    s.line((530, y - 76), (530, 344), arrow=True)
    s.line((506, y - 22), (554, y - 22), width=3)
    s.text(498, y - 18, "isolating valve, OPEN; snubber", "end", size=12)
    s.circle(660, y - 40, 20)
    s.line((660, y - 6), (660, y - 20))
    s.line((660, y - 40), (671, y - 52))
    s.text(690, y - 36, "gauge to compare with", size=12)
    s.rect(700, y + 20, 80, 84, "#f2f2f2")
    s.line((700, y + 64), (780, y + 64), dash="5 4")
    s.line((740, y + 6), (740, y + 20))
    s.text(790, y + 60, "tank: gas above,\nwater below")
    s.text(868, y + 4, "to use")
    return s


def calibration():
    s = Sheet(940, 470, "Calibrating voltage, current and phase on the bench",
              "A fused source feeds a load; reference voltmeter and ammeter stand beside the voltage head and the clamp. The load is resistive for gains, inductive for phase.")  # fmt: skip
    s.box(30, 120, 130, 120, "source\n\nregulated\nor the mains\nbehind RCD", bold_first=True)
    s.line((160, 140), (220, 140))
    s.box(220, 118, 124, 44, "isolator, fuse")
    s.line((344, 140), (680, 140))
    s.dot(390, 140)
    s.circle(390, 190, 20)
    s.text(390, 195, "V", "middle", bold=True)
    s.line((390, 140), (390, 170))
    s.line((390, 210), (390, 300))
    s.text(372, 262, "reference\nvoltmeter", "end")
    s.dot(470, 140)
    s.line((470, 140), (470, 170))
    s.box(420, 170, 100, 40, "voltage head", bold_first=False)
    s.line((470, 210), (470, 300))
    s.circle(590, 140, 20)
    s.text(590, 145, "A", "middle", bold=True)
    s.text(580, 110, "reference ammeter", "middle")
    s.line((680, 140), (780, 140))
    s.shape('<ellipse cx="700" cy="140" rx="11" ry="26" stroke-width="4"/>')
    s.text(712, 88, "clamp under test,\narrow towards the load", "middle", size=12)
    s.resistor((780, 140), (780, 300), "load: resistive\nfor gains, choke\nor idling motor\nfor phase")
    s.line((780, 300), (95, 300), (95, 240))
    s.dot(390, 300)
    s.dot(470, 300)
    s.line((520, 190), (560, 190), (560, 360), arrow=True)
    s.line((700, 166), (700, 360), arrow=True)
    s.box(520, 360, 220, 50, "logger\nUSB to a laptop on its battery")
    s.note(30, 440, "Everything at mains potential is shrouded; connections are changed only with the isolator open and proved dead.")
    s.note(30, 458, "N turns of the load's conductor through the clamp are N times the current: 10 turns at 5 A read as 50 A.")
    return s


SHEETS = {"fitting": fitting, "calibration": calibration}
