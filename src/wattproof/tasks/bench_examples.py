"""A bench file to begin with: what it says is an example, and each line says what to put there."""

AUDIO_INTERFACE = """\
name = "Boathouse bench"            # yours

[[channels]]
input = 1                           # first input of the interface
role = "load_voltage"
output = "A"
scale = 84.0                        # volts at the load for 1 in the file: calibrate it
scale_u = 0.01                      # relative standard uncertainty

[[channels]]
input = 2
role = "drive_voltage"              # a second cable from the interface's own output
scale = 2.9
scale_u = 0.01

[[loads]]
name = "4 ohm"
resistance_ohm = 4.03               # measured cold, with four wires
resistance_u_ohm = 0.02
continuous_w = 300

[supply]
nominal_v = 14.4
max_current_a = 60

[limits]                            # beyond these the guard stops the drive
load_voltage_v = 60
load_dc_v = 1.0
full_power_s = 6

[rig]
kind = "audio"                      # no device named: the system's own
sample_rate_hz = 96000
drive_outputs = { A = 1 }
drive_v_full_scale = 2.83           # peak volts at the generator's output: measure it
"""
