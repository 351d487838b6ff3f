(outline of job: emblem.svg)
(blank: round:20mm, margin 2.5mm)
(pointer power: off. Follow the head, not a beam.)
(A marking diode is class 4: above 500 mW, IEC 60825-1. It harms the eye even by reflection, so the outline shows no beam unless the machine file has a pointer power that is known to be safe.)
G21G90G94G17M5S0
(circle at the margin)
G0X10Y2.5
G1F3000X11.463Y2.644
X12.87Y3.071
X14.167Y3.764
X15.303Y4.697
X16.236Y5.833
X16.929Y7.13
X17.356Y8.537
X17.5Y10
X17.356Y11.463
X16.929Y12.87
X16.236Y14.167
X15.303Y15.303
X14.167Y16.236
X12.87Y16.929
X11.463Y17.356
X10Y17.5
X8.537Y17.356
X7.13Y16.929
X5.833Y16.236
X4.697Y15.303
X3.764Y14.167
X3.071Y12.87
X2.644Y11.463
X2.5Y10
X2.644Y8.537
X3.071Y7.13
X3.764Y5.833
X4.697Y4.697
X5.833Y3.764
X7.13Y3.071
X8.537Y2.644
X10Y2.5
M5S0
M5S0
G0X0Y0
M2
