(outline of job: name-tag.svg)
(blank: rect:24x12mm, margin 1mm)
(pointer power: off. Follow the head, not a beam.)
(A marking diode is class 4: above 500 mW, IEC 60825-1. It harms the eye even by reflection, so the outline shows no beam unless the machine file has a pointer power that is known to be safe.)
G21G90G94G17M5S0
(art)
G0X1.719Y1.013
G1F3000X22.281
Y10.988
X1.719
Y1.013
M5S0
(edge of the blank)
G0X24Y0
G1F3000Y12
X0
Y0
X24
M5S0
M5S0
G0X0Y0
M2
