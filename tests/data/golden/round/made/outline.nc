(outline of job: emblem.svg)
(blank: cylinder:12x16mm, margin 2.5mm)
(rotary: A turns x, a piece 12 mm across)
(pointer power: off. Follow the head, not a beam.)
(A marking diode is class 4: above 500 mW, IEC 60825-1. It harms the eye even by reflection, so the outline shows no beam unless the machine file has a pointer power that is known to be safe.)
G21G90G94G17M5S0
(art)
G0A127.969X2.516
G1F10799.997A232.706
F1130.973X13.484
F10799.997A127.969
F1130.973X2.516
M5S0
(edge of the blank)
G0A360X0
G1F1130.973X16
F10799.997A0
F1130.973X0
F10799.997A360
M5S0
M5S0
G0A0X0
M2
