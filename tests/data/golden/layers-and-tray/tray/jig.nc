(edges of the blanks of order: tags)
(caution: this marks the card at working power. Eyewear, enclosure, extraction, never leave it alone.)
G21G90G94G17M5S0
(blank 1)
G0X25Y3
M3S200
G1F3000Y17
X3
Y3
X25
M5S0
(blank 2)
G0X50Y20
M3S200
G1F3000Y34
X28
Y20
X50
M5S0
(blank 3)
G0X25Y20
M3S200
G1F3000Y34
X3
Y20
X25
M5S0
M5S0
G0X0Y0
M2
