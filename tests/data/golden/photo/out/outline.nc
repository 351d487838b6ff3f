(outline of job: harbour.jpg)
(blank: round:22mm, margin 2.5mm)
(pointer power: off. Follow the head, not a beam.)
(A marking diode is class 4: above 500 mW, IEC 60825-1. It harms the eye even by reflection, so the outline shows no beam unless the machine file has a pointer power that is known to be safe.)
G21G90G94G17M5S0
(circle at the margin)
G0X11Y2.5
G1F3000X12.658Y2.663
X14.253Y3.147
X15.722Y3.933
X17.01Y4.99
X18.067Y6.278
X18.853Y7.747
X19.337Y9.342
X19.5Y11
X19.337Y12.658
X18.853Y14.253
X18.067Y15.722
X17.01Y17.01
X15.722Y18.067
X14.253Y18.853
X12.658Y19.337
X11Y19.5
X9.342Y19.337
X7.747Y18.853
X6.278Y18.067
X4.99Y17.01
X3.933Y15.722
X3.147Y14.253
X2.663Y12.658
X2.5Y11
X2.663Y9.342
X3.147Y7.747
X3.933Y6.278
X4.99Y4.99
X6.278Y3.933
X7.747Y3.147
X9.342Y2.663
X11Y2.5
M5S0
M5S0
G0X0Y0
M2
