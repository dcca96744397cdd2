"""The physics of a 12 V lead-acid battery and of its starting and charging circuits, as pure functions.

Numbers or broadcastable arrays go in, numbers or arrays of the broadcast shape come out; there is no probability, no
state and no input or output here. The modules in the order of the current:

* :mod:`~faultnet.physics.acid` (what the acid says), :mod:`~faultnet.physics.rating` (what the label says),
  :mod:`~faultnet.physics.resistance` (what the rating fixes), :mod:`~faultnet.physics.charge` (what goes in and what
  leaks away), and :mod:`~faultnet.physics.battery`, all of them under one name;
* :mod:`~faultnet.physics.conductors`;
* :mod:`~faultnet.physics.waveform` (the shape of a start), :mod:`~faultnet.physics.sampling` (what a meter sees of it)
  and :mod:`~faultnet.physics.cranking` (the circuit that makes it);
* :mod:`~faultnet.physics.rectifier` and :mod:`~faultnet.physics.charging`;
* :mod:`~faultnet.physics.drain` (standing and driving).

Nomenclature
------------
One name and one unit for a quantity, everywhere.

========================  ======  ==========  ====================================================================
name                      symbol  unit        meaning
========================  ======  ==========  ====================================================================
charge                    s       [-]         state of charge, 0 empty to 1 full, of the capacity at 25 degC
specific_gravity          SG      [-]         density of the acid against water, both at 25 degC
molality                  m       [mol/kg]    amount of sulphuric acid in a kilogram of water
emf                       E       [V]         rest voltage of the battery, no current, no surface charge
temperature               T       [degC]      of the electrolyte, the oil, the copper or the regulator, as said
rating                    I_r     [A]         cold-cranking current by SAE J537
capacity                  C       [A h]       what the battery gives in twenty hours at 25 degC
ohmic resistance          R_o     [ohm]       battery resistance within milliseconds
polarisation resistance   R_p     [ohm]       what is added to it within seconds, fully developed
loop_resistance           R_l     [ohm]       cables, joints, contacts and ground outside battery and motor
motor_resistance          R_m     [ohm]       windings and connections inside the starter
brush_drop                V_b     [V]         across both brushes, taken as constant
current                   I       [A]         out of the battery while cranking, into it while charging
post_voltage              V       [V]         between the battery's own posts
drag                      d       [-]         torque the engine asks for, over that of a sound engine
speed                     n       [rev/min]   of the engine, or of the alternator where it says so
length, area              l, A    [m], [mm2]  of a conductor (square millimetres, as conductors are sold)
seconds, hours            t       [s], [h]    time since a start began; time standing or driving
window, interval          w, h    [s]         averaging time and sampling time of an instrument
phase                     p       [-]         where the dip falls in the instrument's window or interval, 0 to 1
acceptance                a       [-]         charging current a worn battery takes, over that of a sound one
========================  ======  ==========  ====================================================================
"""
