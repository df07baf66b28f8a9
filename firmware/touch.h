/* One timed touch, run on the microsecond clock, every step stamped. */
#ifndef TOUCH_H
#define TOUCH_H

#include <stdbool.h>
#include <stdint.h>

#include "image.h"

enum touch_state {
    TOUCH_IDLE,
    TOUCH_BEFORE,
    TOUCH_LEAD,
    TOUCH_DWELL,
    TOUCH_TAIL,
    TOUCH_MARK, /* the end marker is showing */
    TOUCH_DONE
};

enum touch_step { STEP_START, STEP_PRESS, STEP_CLOSE, STEP_RELEASE, STEP_OPEN, STEP_END, STEPS };

struct touch_settings {
    image_t pads; /* the pads' bits only */
    uint8_t series;
    uint8_t keys; /* bit n: key channel n + 1 */
    uint8_t holds; /* the same; closed with the press, opened at the touch's end */
    uint16_t before_ms, press_ms, lead_in_ms, dwell_ms, tail_ms;
};

extern struct touch_settings touch_settings; /* written by the commands while no touch runs */

void touch_reset(void); /* aborted, settings at their defaults */
int16_t touch_initiate(void); /* 0 or why not */
void touch_end(void);   /* end the dwell now, or the touch before it closed anything */
void touch_cut(void);   /* the toy drew too much: everything has been opened, mark the end */
void touch_abort(void); /* state and marker only; the caller has opened everything */
void touch_run(void);
bool touch_is_busy(void);
bool touch_is_near(void); /* a step is due within about a millisecond */
enum touch_state touch_state(void);
bool touch_stamp(enum touch_step step, uint32_t *us); /* false: the step never happened */

#endif
