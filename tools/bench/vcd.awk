# Pulses of one line of a VCD: mawk -v name=LINE -v unit_us=0.01 -f vcd.awk FILE
/^\$var/ && $5 == name { up = "1" $4; down = "0" $4; next }
/^#/ { time = substr($0, 2); next }
$0 == up {
    if (pulses == 0)
        first = time
    last = lead = time
    next
}
$0 == down && lead != "" { width += time - lead; pulses++ }
END { printf "%s %d %.6f %.6f\n", name, pulses, width / pulses * unit_us, (last - first) / (pulses - 1) * unit_us }
