/* Were the two lines given in the wrong order? */
#include "adapter/verify/verify.h"

#include <math.h>

/* The plan explains the lines the other way round so many times better. */
#define MUCH_BETTER 4.0
/* And as given it is off by so many times the tolerance. */
#define MUCH_OFF 3.0
/* Outputs that come this soon after their input, each time alike, were caused by it. In parts
 * of a frame: the median, the range of 90 %. */
#define SOON 0.25
#define ALIKE 0.02

static bool follows_at_once(const spw_verifier *f) {
    const spw_summary *late = &f->v->latency_ms;
    double frame_ms = f->before->period_us.mean * 1e-3;
    return late->n > 0 && late->median < SOON * frame_ms &&
           late->p95 - late->p05 < ALIKE * frame_ms;
}

bool spw_verify_much_better(const spw_planned *planned, double as_given_us, double other_us) {
    return as_given_us > MUCH_OFF * planned->tolerance_us && as_given_us > MUCH_BETTER * other_us;
}

bool spw_verify_exchanged(const spw_verifier *f) {
    const spw_verification *v = f->v;
    double as_given = 0, other = 0, n = 0;
    if (!v->planned.known || follows_at_once(f))
        return false;
    for (size_t k = 0; k < v->pairs; k++) {
        const spw_pair *p = &v->pair[k];
        if (p->moving)
            continue;
        as_given += fabs(p->out_us - spw_remap_apply(&v->planned.remap, p->in_us));
        other += fabs(p->in_us - spw_remap_apply(&v->planned.remap, p->out_us));
        n += 1;
    }
    return n > 0 && spw_verify_much_better(&v->planned, as_given / n, other / n);
}
