/* Is the time of learning all alike? A shape learned from two kinds of edges is that of
 * neither, so where they change within it, it is learned from those before. */
#include "edges/finder.h"
#include "edges/scale.h"

#include <math.h>
#include <stdlib.h>

#define OTHER_VARIANCE 1.6 /* of residuals, in one block and those before it */
#define MOST_CLIPPED 0.9   /* of the transitions of a block; few: the rest to 1 */
enum { BLOCK = 100, BLOCKS_LEAST = 3, LEARN_LEAST = 50 };

spw_status spw_finder_blocks(spw_edge_finder *f, size_t n) {
    f->blocks = n / BLOCK >= BLOCKS_LEAST ? n / BLOCK : 0;
    if (f->blocks == 0)
        return SPW_OK;
    f->block = calloc(f->blocks, sizeof *f->block);
    return f->block != NULL ? SPW_OK : SPW_ERR_MEMORY;
}

void spw_finder_block_add(spw_edge_finder *f, size_t k) {
    if (f->block != NULL && k / BLOCK < f->blocks)
        spw_profile_add(&f->block[k / BLOCK], &f->window, &f->marks[k]);
}

static double clipped_share(const spw_fit *fit, size_t first, size_t end) {
    double clipped = 0;
    for (size_t k = first; k < end; k++)
        clipped += fit[k].clipped > 0;
    return clipped / (double)(end - first);
}

/* Is block j unlike those before it, whose residuals `before` sums up? */
static bool is_unlike(const spw_edge_finder *f, const spw_fit *fit, size_t j,
                      const spw_profile *before) {
    size_t from = j * BLOCK, to = from + BLOCK;
    double dof_here, dof_before, here = spw_finder_variance(fit, from, to, &dof_here);
    double earlier = spw_finder_variance(fit, 0, from, &dof_before);
    if (!(dof_here > 0) || !(dof_before > 0) || !(earlier > 0))
        return false;
    double ratio = f->smooth.hum > 0 ? 1 : here / earlier;
    if (ratio > OTHER_VARIANCE || ratio < 1 / OTHER_VARIANCE)
        return true;
    if (clipped_share(fit, from, to) > MOST_CLIPPED &&
        clipped_share(fit, 0, from) < 1 - MOST_CLIPPED)
        return true;
    if (spw_scale_uneven(f->marks + from, fit + from, BLOCK, NULL) &&
        !spw_scale_uneven(f->marks, fit, from, NULL))
        return true;
    spw_shape_change change;
    return spw_profile_changed(&f->block[j], before, 2 * spw_finder_reach(f) + 1,
                               fmin(here, earlier), f->spread > f->noise, &f->shape, &change);
}

size_t spw_finder_alike(const spw_edge_finder *f, const spw_fit *fit, size_t n) {
    spw_profile before = {0};
    for (size_t j = 0; f->block != NULL && j < f->blocks; j++) {
        size_t to = j * BLOCK - (j > 0 ? BLOCK / 2 : 0); /* the change may begin before it */
        if (j > 0 && to >= LEARN_LEAST && is_unlike(f, fit, j, &before))
            return to;
        for (size_t d = 0; d < 2; d++) {
            before.weight[d] += f->block[j].weight[d];
            for (size_t i = 0; i < SPW_PROFILE; i++)
                before.sum[d][i] += f->block[j].sum[d][i];
        }
    }
    return n;
}
