# Pulses of each 0/1 column of a table, time in seconds: mawk -F, -f logic.awk FILE
NR == 1 {
    columns = NF
    for (i = 2; i <= NF; i++)
        name[i] = $i
    next
}
NR == 2 {
    for (i = 2; i <= columns; i++)
        level[i] = $i
}
{
    for (i = 2; i <= columns; i++)
        if ($i != level[i]) {
            level[i] = $i
            if ($i == 1) {
                if (pulses[i] == 0)
                    first[i] = $1
                last[i] = $1
            } else if (i in last) {
                width[i] += $1 - last[i]
                pulses[i]++
            }
        }
}
END {
    for (i = 2; i <= columns; i++)
        printf "%s %d %.6f %.6f\n", name[i], pulses[i], width[i] / pulses[i] * 1e6, (last[i] - first[i]) / (pulses[i] - 1) * 1e6
}
