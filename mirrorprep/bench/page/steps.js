/** The ten steps by name. */

import { scan } from './step_scan.js';
import { condition } from './step_condition.js';
import { plane } from './step_plane.js';
import { mirror } from './step_mirror.js';
import { seat } from './step_seat.js';
import { measure } from './step_measure.js';
import { parting } from './step_parting.js';
import { mould } from './step_mould.js';
import { pour } from './step_pour.js';
import { handover } from './step_handover.js';

export const STEPS = { scan, condition, plane, mirror, seat, measure, parting, mould, pour, handover };
