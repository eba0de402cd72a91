/** Colours of picked places: the same sides as in the pictures. */

import { PLANE, colorOf } from './palette.js';

export const PLANE_COLOR = PLANE;
export const DONOR_COLOR = colorOf('donor');
export const MIRRORED_COLOR = '#8a5a0e';
