"""Fits the two convolutional networks that say of every pixel what it shows (`identify.pixelnet` runs them).

    python -m tests.benchmarks.fit_pixelnets plan     SET --renderer FOLDER --seed N
    python -m tests.benchmarks.fit_pixelnets render   SET --renderer FOLDER --spectra FILE
    python -m tests.benchmarks.fit_pixelnets pictures SET --renderer FOLDER --out PICTURES
    python -m tests.benchmarks.fit_pixelnets train    scene|bait PICTURES [PICTURES …] --out FITTED --seconds S
    python -m tests.benchmarks.fit_pixelnets export   FITTED/scene.npz --out identify/separate/scene.onnx

The renderer is the folder of modules that lies beside a photo set; its README tells what it needs (Mitsuba) and how the
file of spectra is made.  Training and export need `pip install -e '.[fit]'`.  Users, tests and CI need none of it: what
ships is two ONNX files.

**What is learned from.**  Rendered photos only, with labels painted from the very meshes that were rendered, so that
they are exact (`labels`).  No photo that accuracy is measured on, and no body or colour of those photos but in the last
of these sets:

- 15 random worlds (`worlds`): seeds 11 to 18 and 21 to 28 without 24, for which the renderer finds no layout.  Each has
  26 bodies, 60 paints and 71 photos, on grounds of any colour and print (`grounds`), with more rings lost or painted
  over (`plans`).  64 samples a pixel at 0.6 of full size.
- 9 random worlds more, seeds 41 to 49, 639 photos, of more varied bodies, with rings turned up to edge-on (`rings`) and
  bodies that touch (`plans`).  The worlds before were made with narrower ranges in `worlds`, and without these.
- two random worlds on the renderer's own grounds, 66 photos each: `plan --like set2`, with `--world-seed 1 --seed 31`
  and with `--world-seed 2 --seed 32`.
- the renderer's own world with another seed than the photo set's, its 162 photos of single baits and of baits among
  other things: `--like lakes --own-world --seed 11`.  So the networks, though no other part, have seen that world's
  bodies, those among them that its reference set leaves out too; a second world that nothing was fitted to tells how
  far that matters.

Each photo gives one reduced picture for the network `scene`, and a cut-out of each bait for the network `bait`
(`pictures`).

**The networks** (`net`).  U-Nets (Ronneberger, Fischer and Brox 2015): a convolution of 4 x 4 pixels with stride 2,
then five levels of two convolutions of 3 x 3, batch norm and ReLU after each; levels are joined by taking the greatest
of 2 x 2 on the way down and by transposed convolutions on the way up, and a last one brings back full size.  `scene`
sees a whole picture at 1.6 px/mm, `bait` one bait at 5 px/mm; both have 16, 32, 64, 96, 128 channels a level (`looks`;
runtimes work in eights).  Just under a million weights each.  `train` folds batch norm into the convolutions.

**Training** (`train`).  Loss: binary cross entropy of each plane, in which what is there weighs more where it is rare,
and 0.15 of a soft Dice loss of the body.  AdamW (Loshchilov and Hutter 2019), weight decay 1e-2, rate 2e-3 after a
warm-up of 300 steps, falling to nothing as a cosine; gradients clipped at 1; bfloat16; 24 pictures a step.  What is
written is the running average of the weights.  Augmentation on the GPU, anew for each batch (`augment`): turned,
mirrored, stretched and resized (by 35 % for `scene`, which sees a photo without a card in a guessed scale; by 12 % for
`bait`); other things with their shadows on bare ground, edges of shadow across everything; exposure, white balance,
hue, saturation, blur, noise and tone curve changed; nothing but one grey beyond the frame of some.

The shipped files were made in steps, on one or two NVIDIA H100.  `scene`: 17 minutes from scratch, in two runs, on 1203
pictures, sharing a card with `bait`.  `bait`: 16 minutes with 20 channels at the first level on the
worlds up to seed 28, 17 more with the new ones, then the 16 channels kept that weigh most there and 9 minutes more.
Pictures of the seeds 21 to 28 and half of 11 to 18 were there in the first of these only.  One run of each from
scratch, on all pictures, should do as well, but has not been tried.  A run cannot be repeated to the bit: it stops by
the clock.

**Held-out checks** are the project's benchmarks, `python -m tests.benchmarks PHOTO_SET`: photos, bodies and colours
that the networks were not fitted to.  Nothing here tells an accuracy of its own.
"""
