// Package tuning judges an intonation profile: what is left to the lip after
// the tuning slide and the valve-slide throws have done what they can, and how
// well a setup's own resonances support its notes.
//
// # The problem
//
// A profile gives a deviation d_j (cents, + sharp) for each slot j, the player
// weighs its notes with w_j >= 0, and r_j is the effective length of the slot's
// valve combination relative to the open instrument. Two means cost no lip:
//
//   - the tuning slide: pulled so that open notes fall by t cents, slot j falls
//     by t/r_j. t > 0 is pulled out (flatter), t < 0 pushed in;
//   - a throw: while playing, the slide of a pressed first or third valve is
//     extended, which lowers slot j by u_j, 0 <= u_j <= reach_j. A throw never
//     raises a note.
//
// What is left is d_j - t/r_j - u_j, and the best a player can do is
//
//	minimise  sum_j w_j (d_j - t/r_j - u_j)^2
//	over      t_min <= t <= t_max,  0 <= u_j <= reach_j.
//
// For a given t the best throw is u_j = clamp(d_j - t/r_j, 0, reach_j), which
// leaves a convex, once differentiable, piecewise quadratic function of t alone.
// Its derivative is monotone and piecewise linear, so Newton's method kept
// within a bracket ends on the exact minimum after a few steps (see
// [Problem.Slide]). The error of the profile is the weighted root mean square
// of what is left.
package tuning
