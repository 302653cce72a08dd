# Pulses of a line in volts, time in seconds, crossings of a level by straight
# lines between the rows: mawk -F, -v level=1.65 -f volts.awk FILE
NR > 1 {
    if (($2 > level) != high) {
        high = !high
        at = t + (level - v) / ($2 - v) * ($1 - t)
        if (high) {
            if (pulses == 0)
                first = at
            last = at
        } else {
            width += at - last
            pulses++
        }
    }
    t = $1
    v = $2
}
END { printf "line %d %.6f %.6f\n", pulses, width / pulses * 1e6, (last - first) / (pulses - 1) * 1e6 }
