#!/usr/bin/python3
"""Draws the wiring of each sensor as SVG beside this file: run it after a change.

Must never draw anything that touches the mains: all of this is at 5 V or less. Resistors are
rectangles and grounds three bars, as IEC 60617 has them.
"""
import pathlib

HERE = pathlib.Path(__file__).resolve().parent
FONT = "font-family='sans-serif' font-size='13' fill='#111'"


class Sheet:
    def __init__(self, name, title, width=720, height=330):
        self.name, self.width, self.height = name, width, height
        self.parts = [f"<text x='20' y='28' {FONT} font-weight='bold'>{title}</text>"]
        self.notes = []

    def wire(self, *points):
        way = " ".join(f"{x},{y}" for x, y in points)
        self.parts.append(f"<polyline points='{way}' fill='none' stroke='#111' stroke-width='1.6'/>")

    def dot(self, x, y):
        self.parts.append(f"<circle cx='{x}' cy='{y}' r='3.2' fill='#111'/>")

    def text(self, x, y, words, anchor="start"):
        self.parts.append(f"<text x='{x}' y='{y}' text-anchor='{anchor}' {FONT}>{words}</text>")

    def note(self, words):
        """A line under the drawing."""
        self.notes.append(words)

    def box(self, x, y, width, height, title, left=(), right=()):
        """A module: its pins are (y, label) on either side."""
        self.parts.append(f"<rect x='{x}' y='{y}' width='{width}' height='{height}' fill='#f4f1e8' "
                          "stroke='#111' stroke-width='1.6'/>")
        self.text(x + width / 2, y - 7, title, "middle")
        for at, label in left:
            self.text(x + 7, at + 5, label)
        for at, label in right:
            self.text(x + width - 7, at + 5, label, "end")

    def resistor(self, x, y, label, upright=False, length=60):
        """From (x, y) to the right, or down."""
        body = 34
        lead = (length - body) / 2
        if upright:
            self.wire((x, y), (x, y + lead))
            self.wire((x, y + lead + body), (x, y + length))
            self.parts.append(f"<rect x='{x - 7}' y='{y + lead}' width='14' height='{body}' "
                              "fill='#fff' stroke='#111' stroke-width='1.6'/>")
            self.text(x + 13, y + length / 2 + 5, label)
        else:
            self.wire((x, y), (x + lead, y))
            self.wire((x + lead + body, y), (x + length, y))
            self.parts.append(f"<rect x='{x + lead}' y='{y - 7}' width='{body}' height='14' "
                              "fill='#fff' stroke='#111' stroke-width='1.6'/>")
            self.text(x + length / 2, y - 12, label, "middle")

    def capacitor(self, x, y, label, length=50):
        middle = y + length / 2
        self.wire((x, y), (x, middle - 4))
        self.wire((x, middle + 4), (x, y + length))
        for at in (middle - 4, middle + 4):
            self.wire((x - 12, at), (x + 12, at))
        self.text(x + 17, middle + 5, label)

    def ground(self, x, y):
        self.wire((x, y), (x, y + 8))
        for i, half in enumerate((11, 7, 3)):
            self.wire((x - half, y + 8 + 4 * i), (x + half, y + 8 + 4 * i))

    def supply(self, x, y, label="+5 V"):
        self.wire((x, y), (x, y - 8))
        self.wire((x - 9, y - 8), (x + 9, y - 8))
        self.text(x, y - 13, label, "middle")

    def save(self):
        for i, words in enumerate(reversed(self.notes)):
            self.text(20, self.height - 14 - 18 * i, words)
        (HERE / f"{self.name}.svg").write_text(
            f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {self.width} {self.height}' "
            f"width='{self.width}' height='{self.height}'>\n"
            f"<rect width='{self.width}' height='{self.height}' fill='#fff'/>\n"
            + "\n".join(self.parts) + "\n</svg>\n")


def board(sheet, pins, x=500, y=70, height=180):
    """The board with (y, pin) on its left side."""
    sheet.box(x, y, 180, height, "board (328P / 32U4)", left=pins)


def antenna():
    s = Sheet("antenna", "Antenna: 30 cm of insulated wire, gain by a two-gang pot", height=400)
    board(s, [(120, "A0"), (250, "A1")], height=220)
    s.wire((60, 60), (60, 120), (110, 120))
    s.text(72, 70, "antenna, its end insulated")
    s.resistor(110, 120, "100 k (protects)")
    s.wire((170, 120), (500, 120))
    s.dot(260, 120)
    s.resistor(260, 120, "10 k", upright=True)
    s.resistor(260, 180, "pot, gang 1: 0 to 1 M or more (bleeds)", upright=True)
    s.wire((260, 240), (260, 260))
    s.dot(260, 260)
    s.wire((130, 260), (260, 260))
    s.dot(130, 260)
    s.resistor(130, 200, "10 k", upright=True)
    s.supply(130, 200)
    s.resistor(130, 260, "10 k", upright=True)
    s.ground(130, 320)
    s.capacitor(260, 260, "100 n")
    s.wire((260, 310), (260, 320))
    s.ground(260, 320)
    s.wire((500, 250), (440, 250))
    s.text(432, 255, "pot, gang 2", "end")
    s.note("Both gangs turn together: A1 (between +5 V and ground) tells the range with every frame.")
    s.note("The two 10 k hold the antenna at half the supply. Never near a socket, never on a wire of the house.")
    s.save()


def gain_switch():
    s = Sheet("gain-switch", "Instead of the pot: eight ranges, set by the node", height=360)
    board(s, [(110, "A0"), (150, "gain 0 (D9 / D8)"), (180, "gain 1 (D10 / D9)"),
              (210, "gain 2 (D11 / D10)")], height=170)
    s.box(260, 130, 130, 120, "8-way analogue switch", right=[(150, "a"), (180, "b"), (210, "c")],
          left=[(190, "0 .. 7")])
    s.wire((60, 60), (60, 110), (90, 110))
    s.text(72, 66, "antenna")
    s.resistor(90, 110, "100 k")
    s.wire((150, 110), (500, 110))
    s.dot(240, 110)
    s.wire((240, 110), (240, 150), (260, 150))
    s.text(267, 155, "common")
    for y in (150, 180, 210):
        s.wire((390, y), (500, y))
    s.wire((260, 190), (190, 190))
    s.resistor(130, 190, "47 k to 10 M")
    s.text(60, 222, "one for each of the eight")
    s.wire((130, 190), (50, 190), (50, 250))
    s.text(22, 268, "to half the supply, as in antenna.svg")
    s.note("Config: \"gain\": 0 to 7. The three pins are free (inputs) while \"gain\" is 255, the pot's setting.")
    s.note("10 M is the most sensitive. The switch's chip is fed by the board's 5 V.")
    s.save()


def magnetometer():
    s = Sheet("magnetometer", "Magnetometer: three axes, I2C")
    board(s, [(100, "3.3 V"), (155, "A4 / SDA"), (190, "A5 / SCL"), (230, "GND")])
    s.box(110, 70, 150, 180, "magnetometer module", right=[(100, "VCC"), (155, "SDA"), (190, "SCL"),
                                                       (230, "GND")])
    for y in (100, 155, 190, 230):
        s.wire((260, y), (500, y))
    for x, y in ((320, 155), (390, 190), (320, 100), (390, 100)):
        s.dot(x, y)
    s.resistor(320, 100, "4.7 k", upright=True, length=55)
    s.resistor(390, 100, "4.7 k", upright=True, length=50)
    s.wire((390, 150), (390, 190))
    s.note("32U4: SDA is D2, SCL is D3. A 5 V module brings its own regulator and level shift.")
    s.note("Fixed to something that can't turn, 30 cm or more from cells, speakers, screws and the computer.")
    s.save()


def thermometer():
    s = Sheet("thermometer", "Thermometer: 1-wire, three wires")
    board(s, [(110, "5 V"), (160, "D4 / D6"), (210, "GND")])
    s.box(110, 80, 150, 160, "1-wire thermometer", right=[(110, "VDD"), (160, "DQ"), (210, "GND")])
    s.wire((260, 110), (500, 110))
    s.wire((260, 160), (400, 160))
    s.resistor(400, 160, "100")
    s.wire((460, 160), (500, 160))
    s.wire((260, 210), (500, 210))
    s.dot(340, 110)
    s.dot(340, 160)
    s.resistor(340, 110, "4.7 k", upright=True, length=50)
    s.note("Not fed over the data wire: a parasite's pull-up would need a transistor that isn't there.")
    s.note("In the air of the room, not on the board: that is some degrees warmer. Lag: seconds to minutes.")
    s.save()


def motion():
    s = Sheet("motion", "Motion: a passive infrared module")
    board(s, [(110, "5 V"), (160, "D8 / D4"), (210, "GND")])
    s.box(110, 80, 150, 160, "motion module", right=[(110, "VCC"), (160, "OUT"), (210, "GND")])
    s.wire((260, 110), (500, 110))
    s.wire((260, 160), (360, 160))
    s.resistor(360, 160, "1 k (protects)")
    s.wire((420, 160), (500, 160))
    s.wire((260, 210), (500, 210))
    s.dot(320, 160)
    s.dot(320, 210)
    s.resistor(320, 160, "100 k", upright=True, length=50)
    s.note("The pin is the timer's capture input: an edge has its tick, whatever the board does just then.")
    s.note("Set its hold time to the least. A minute of warm-up; blind for some seconds after each pulse.")
    s.save()


def sound():
    s = Sheet("sound", "Sound: silent unless the config says \"sound\"", height=260)
    board(s, [(120, "D3 / D5"), (180, "GND")], height=130)
    s.box(110, 90, 150, 110, "piezo disc (passive)", right=[(120, "+"), (180, "-")])
    s.wire((260, 120), (340, 120))
    s.resistor(340, 120, "220")
    s.wire((400, 120), (500, 120))
    s.wire((260, 180), (500, 180))
    s.note("A piezo, not a magnetic speaker: its magnet would be in every reading.")
    s.save()


def line():
    s = Sheet("line", "Serial line to the node's computer: 500,000 baud", height=340)
    board(s, [(110, "TX (D1)"), (150, "RX (D0)"), (230, "GND")], height=190)
    s.box(60, 80, 180, 180, "computer, 3.3 V pins", right=[(110, "RX"), (150, "TX"), (230, "GND")])
    s.wire((240, 110), (330, 110))
    s.dot(330, 110)
    s.resistor(330, 110, "1 k")
    s.wire((390, 110), (500, 110))
    s.wire((330, 110), (330, 170))
    s.resistor(330, 170, "2 k", upright=True)
    s.dot(330, 230)
    s.wire((240, 150), (322, 150))
    s.parts.append("<path d='M322 150 a8 8 0 0 1 16 0' fill='#fff' stroke='#111' stroke-width='1.6'/>")
    s.wire((338, 150), (410, 150))
    s.resistor(410, 150, "220")
    s.wire((470, 150), (500, 150))
    s.wire((240, 230), (500, 230))
    s.note("1 k and 2 k make 3.3 V of the board's 5 V. With a USB-serial adapter of 5 V: straight, 220 in RX.")
    s.note("Computer and board share a ground: both on batteries or a certified low-voltage supply.")
    s.save()


def supply():
    s = Sheet("supply", "Supply: four NiMH cells, or a USB power bank", height=350)
    board(s, [(120, "5 V"), (220, "GND")])
    s.box(40, 90, 130, 160, "4 NiMH cells, AA", right=[(120, "+"), (220, "-")])
    s.wire((170, 120), (190, 120))
    s.resistor(190, 120, "fuse 0.5 A", length=90)
    s.wire((280, 120), (320, 120))
    s.box(320, 100, 80, 40, "switch")
    s.wire((400, 120), (500, 120))
    s.wire((170, 220), (500, 220))
    s.dot(440, 120)
    s.dot(440, 220)
    s.capacitor(440, 120, "", length=100)
    s.text(425, 200, "100 u", "end")
    s.note("The chip measures its own supply: config \"battery_empty_v\": 4.5; below, 16 MHz isn't granted.")
    s.note("A keyed holder: cells the wrong way round destroy the board. Never charge them in place.")
    s.save()


def vibration():
    s = Sheet("vibration", "Vibration of a watched object: accelerometer on the computer's I2C")
    s.box(480, 80, 200, 160, "computer, 3.3 V pins", left=[(110, "3.3 V"), (145, "SDA"), (180, "SCL"),
                                                       (215, "GND")])
    s.box(110, 80, 170, 160, "accelerometer module", right=[(110, "VCC"), (145, "SDA"), (180, "SCL"),
                                                        (215, "GND")])
    for y in (110, 145, 180, 215):
        s.wire((280, y), (480, y))
    s.note("Flat under the object, stuck with wax or putty, cable slack. Driver \"iio\".")
    s.note("The object should not be iron or a magnet: a hidden magnet could move it, and it bends every field.")
    s.save()


for draw in (antenna, gain_switch, magnetometer, thermometer, motion, sound, line, supply, vibration):
    draw()
