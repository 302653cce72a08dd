/* Marks to edges in order, with what has to be said about levels around them. */
#include "edges/finder.h"

#include <math.h>

size_t spw_finder_gap(const spw_edge_finder *f) {
    return spw_trace_samples(f->settings.sample_rate_hz, 50e-6, 3);
}

static double instant(const spw_edge_finder *f, double sample) {
    return f->settings.start_s + sample / f->settings.sample_rate_hz;
}

#define GOES_ON_S 1.0 /* a stretch in doubt, across a pause of this */

void spw_finder_doubt(spw_edge_finder *f, uint32_t what, double from, double to, double bound_us) {
    spw_edge_report *r = &f->report;
    double from_s = instant(f, from), to_s = instant(f, to);
    r->doubts |= what;
    f->placed |= what;
    for (size_t i = r->doubts_placed; i-- > 0;) {
        spw_doubt *d = &r->doubt[i];
        if (d->what != what)
            continue;
        if (from_s > d->to_s + GOES_ON_S && r->doubts_placed < SPW_DOUBTS_MAX)
            break;
        d->to_s = fmax(d->to_s, to_s);
        d->bound_us = isnan(bound_us) ? bound_us : fmax(d->bound_us, bound_us);
        return;
    }
    if (r->doubts_placed < SPW_DOUBTS_MAX)
        r->doubt[r->doubts_placed++] = (spw_doubt){what, from_s, to_s, bound_us};
}

/* The level is lost at sample number `from`; known again, with the next
 * transition, from `until`. */
static spw_status lose(spw_edge_finder *f, double from, double until) {
    bool tell = !f->lost && f->any;
    f->lost = true;
    f->lost_until = until;
    if (!tell)
        return SPW_OK;
    spw_edge edge = {.time_s = instant(f, from), .flags = SPW_EDGE_LOST};
    return f->sink(f->context, &edge, 1);
}

static spw_status deliver_mark(spw_edge_finder *f, const spw_mark *mark) {
    double at = (double)f->base + mark->at;
    double us = 1e6 / f->settings.sample_rate_hz;
    spw_edge edge[2];
    size_t n = 0;
    uint32_t rising = mark->sign > 0 ? SPW_EDGE_RISING : 0;
    if (f->any && at <= f->before.at)
        return SPW_OK;
    if (f->any && !f->lost && mark->sign == f->before.sign) {
        /* the way back was not seen: in between the level is unknown */
        spw_status status = lose(f, f->before.at, at);
        if (status != SPW_OK)
            return status;
    }
    if (!f->any || f->lost) {
        /* a recorder without direct coupling tells no level: it is the one left */
        double from = f->lost ? fmin(f->lost_until, at) : 0;
        uint32_t flags =
            SPW_EDGE_FOUND | (f->lost ? 0 : SPW_EDGE_FIRST) | (rising != 0 ? 0 : SPW_EDGE_RISING);
        edge[n++] = (spw_edge){.time_s = instant(f, from), .flags = flags};
    }
    uint32_t doubtful = mark->doubts != 0 ? SPW_EDGE_DOUBTFUL : 0;
    for (uint32_t what = 1; what != 0 && what <= mark->doubts; what <<= 1)
        if ((mark->doubts & what) != 0)
            spw_finder_doubt(f, what, at, at, (double)mark->bound_us);
    edge[n++] = (spw_edge){.time_s = instant(f, at),
                           .u_us = (float)(mark->u * us),
                           .flags = rising | doubtful | mark->flags};
    f->any = true;
    f->lost = false;
    f->before = *mark;
    f->before.at = at;
    f->report.edges++;
    return f->sink(f->context, edge, n);
}

spw_status spw_finder_deliver(spw_edge_finder *f, size_t n, size_t from, size_t to) {
    size_t i = from, k = 0, shortest = spw_finder_gap(f);
    spw_status status = SPW_OK;
    while (k < n && f->marks[k].at < (double)from)
        k++;
    for (; status == SPW_OK && k <= n; k++) {
        double until = k < n && f->marks[k].at < (double)to ? f->marks[k].at : (double)to;
        for (; f->report.missing_samples > 0 && (double)i < until; i++) {
            if ((f->flag[i] & SPW_SAMPLE_MISSING) == 0)
                continue;
            size_t start = i;
            while (i < f->n && (f->flag[i] & SPW_SAMPLE_MISSING) != 0)
                i++;
            if (i - start >= shortest || start == 0)
                status = lose(f, (double)(f->base + start), (double)(f->base + i));
            if (status != SPW_OK)
                return status;
        }
        if (k >= n || f->marks[k].at >= (double)to)
            break;
        status = deliver_mark(f, &f->marks[k]);
    }
    return status;
}
