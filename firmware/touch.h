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
    image_t pads;   /* the pads' bits only */
    uint8_t series; /* bit n: series channel n + 1 */
    uint8_t keys;
    uint8_t holds; /* closed with the press, opened at the touch's end */
    uint16_t before_ms, press_ms, lead_in_ms, dwell_ms, tail_ms;
    uint16_t above_ma; /* what the toy may draw more while the pads are closed; 0: no such limit */
};

#define TOUCH_BEFORE_MS 60
#define TOUCH_PRESS_MS 120
#define TOUCH_LEAD_IN_MS 240
#define TOUCH_DWELL_MS 1200
#define TOUCH_TAIL_MS 500
#define TOUCH_MARGIN_MS 50 /* that a touch must stay below the guard's longest closure */
#define TOUCH_LOW_MARGIN_MS 5 /* the same of two low pads */

extern struct touch_settings touch_settings; /* written by the commands while no touch runs */

void touch_reset(void); /* aborted, settings at their defaults */
int16_t touch_initiate(bool armed); /* 0 or why not; armed: closes only when told to */
/* An armed touch closes its pads so long after its start; 0 or why it can't any more. */
int16_t touch_close_at(int32_t after_start_us);
#define TOUCH_CLOSE_NOW (-1)
void touch_end(void);   /* end the dwell now, or the touch before it closed anything */
void touch_cut(void);   /* the toy drew too much: everything has been opened, mark the end */
void touch_abort(void); /* state and marker only; the caller has opened everything */
void touch_run(void);
bool touch_is_busy(void);
bool touch_is_near(void); /* a step is due within about a millisecond */
enum touch_state touch_state(void);
bool touch_stamp(enum touch_step step, uint32_t *us); /* false: the step never happened */

#endif
